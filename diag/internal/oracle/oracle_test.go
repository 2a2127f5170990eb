package oracle

import (
	"math/big"
	"math/rand/v2"
	"strings"
	"testing"
)

// same reports whether got rounds to the decimal or equals the fraction want.
func same(got *big.Rat, want string) bool {
	w := Rat(want)
	if strings.Contains(want, "/") {
		return got.Cmp(w) == 0
	}
	digits := 0
	if _, frac, ok := strings.Cut(want, "."); ok {
		digits = len(frac)
	}
	half := new(big.Rat).SetFrac(big.NewInt(1), new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(digits)), nil))
	half.Mul(half, big.NewRat(1, 2))
	diff := new(big.Rat).Sub(got, w)
	return diff.Abs(diff).Cmp(half) <= 0
}

type check struct {
	seen   Evidence
	source string
	pe     string            // probability of the evidence, if given
	yes    map[string]string // probability of "y"
}

func run(t *testing.T, n *Net, checks []check) {
	t.Helper()
	for _, c := range checks {
		a, err := n.Query(c.seen)
		if err != nil {
			t.Fatal(err)
		}
		if c.pe != "" && !same(a.Evidence, c.pe) {
			t.Errorf("%v: evidence %s, want %s (%s)", c.seen, a.Evidence.FloatString(14), c.pe, c.source)
		}
		for name, want := range c.yes {
			if got := a.Marginal[name]["y"]; !same(got, want) {
				t.Errorf("%v: %s %s, want %s (%s)", c.seen, name, got.FloatString(14), want, c.source)
			}
		}
	}
}

func must(t *testing.T, errs ...error) {
	t.Helper()
	for _, err := range errs {
		if err != nil {
			t.Fatal(err)
		}
	}
}

// Asia: Lauritzen & Spiegelhalter, "Local computations with probabilities on
// graphical structures", JRSS B 50 (1988). Tables as in gRain 1.4.5.
func asia(t *testing.T) *Net {
	n := &Net{}
	must(t,
		n.YesNo("asia", nil, "0.01"),
		n.YesNo("tub", []string{"asia"}, "0.05", "0.01"),
		n.YesNo("smoke", nil, "0.5"),
		n.YesNo("lung", []string{"smoke"}, "0.10", "0.01"),
		n.YesNo("bronc", []string{"smoke"}, "0.60", "0.30"),
		n.YesNo("either", []string{"tub", "lung"}, "1", "1", "1", "0"),
		n.YesNo("xray", []string{"either"}, "0.98", "0.05"),
		n.YesNo("dysp", []string{"either", "bronc"}, "0.9", "0.7", "0.8", "0.1"),
	)
	return n
}

func TestAsiaGivesThePublishedPosteriors(t *testing.T) {
	const (
		grain = "printed by gRain 1.4.5, vignette output and test file"
		own   = "recomputed with exact fractions"
	)
	run(t, asia(t), []check{
		{Evidence{}, grain, "1", map[string]string{"tub": "0.0104", "lung": "0.055", "bronc": "0.45"}},
		{Evidence{}, own, "", map[string]string{"either": "0.064828", "xray": "0.11029004", "dysp": "0.4359706"}},
		{Evidence{"asia": "y", "dysp": "y"}, grain, "", map[string]string{"tub": "0.08775", "lung": "0.09953", "bronc": "0.81140"}},
		{Evidence{"asia": "y", "dysp": "y"}, own, "36011/8000000", map[string]string{
			"tub": "3160/36011", "lung": "3584/36011", "bronc": "146097/180055",
			"smoke": "0.6259198578", "either": "0.1822998528", "xray": "0.2195388631"}},
		{Evidence{"asia": "y", "dysp": "y"}, own, "0.004501375", map[string]string{
			"tub": "0.0877509650", "lung": "0.0995251451", "bronc": "0.8114020716"}},
		{Evidence{"asia": "y", "dysp": "y", "xray": "n"}, own, "0.00351314825", map[string]string{
			"smoke": "0.6045119217", "tub": "0.0022486953", "lung": "0.0025504190", "bronc": "0.8627607730", "either": "0.0046715933"}},
		{Evidence{"xray": "y"}, own, "0.11029004", map[string]string{
			"asia": "0.0131555397", "smoke": "0.6877538534", "tub": "0.0924108832", "lung": "0.4887114013",
			"bronc": "0.5063261560", "either": "0.5760396859", "dysp": "0.6407659694"}},
		{Evidence{"dysp": "y"}, own, "0.4359706", map[string]string{
			"asia": "0.0103249508", "smoke": "0.6339968796", "tub": "0.0188453075", "lung": "0.1027592228",
			"bronc": "0.8339673363", "either": "0.1205358343", "xray": "0.1620983259"}},
		{Evidence{"asia": "y", "xray": "y"}, own, "0.001450925", map[string]string{
			"tub": "0.3377155952", "lung": "0.3714871547", "bronc": "0.4911022279"}},
	})
}

func TestSprinklerGivesTheKnownPosteriors(t *testing.T) {
	// Tables from memory; posteriors recomputed with exact fractions.
	n := &Net{}
	must(t,
		n.YesNo("cloudy", nil, "0.5"),
		n.YesNo("sprinkler", []string{"cloudy"}, "0.1", "0.5"),
		n.YesNo("rain", []string{"cloudy"}, "0.8", "0.2"),
		n.YesNo("wet", []string{"sprinkler", "rain"}, "0.99", "0.9", "0.9", "0"),
	)
	run(t, n, []check{
		{Evidence{"wet": "y"}, "exact", "0.6471", map[string]string{"sprinkler": "309/719", "rain": "509/719"}},
		{Evidence{"wet": "y"}, "exact", "", map[string]string{"sprinkler": "0.429763561", "rain": "0.7079276773"}},
		{Evidence{"wet": "y"}, "commonly printed, from memory", "", map[string]string{"sprinkler": "0.430", "rain": "0.708"}},
	})
}

func TestBurglaryGivesTheKnownPosteriors(t *testing.T) {
	// Pearl's example in the numbers of Russell & Norvig's textbook; tables from
	// memory, posteriors recomputed with exact fractions.
	n := &Net{}
	must(t,
		n.YesNo("burglary", nil, "0.001"),
		n.YesNo("quake", nil, "0.002"),
		n.YesNo("alarm", []string{"burglary", "quake"}, "0.95", "0.94", "0.29", "0.001"),
		n.YesNo("john", []string{"alarm"}, "0.90", "0.05"),
		n.YesNo("mary", []string{"alarm"}, "0.70", "0.01"),
	)
	run(t, n, []check{
		{Evidence{"john": "y", "mary": "y"}, "exact", "0.002084100239", map[string]string{
			"burglary": "0.2841718354", "quake": "0.1760668384"}},
		{Evidence{"john": "y", "mary": "y"}, "printed in the book, from memory", "", map[string]string{"burglary": "0.284"}},
	})
}

func TestBadInputIsNamed(t *testing.T) {
	n := &Net{}
	must(t, n.YesNo("a", nil, "0.5"))
	for _, c := range []struct {
		err  error
		want string
	}{
		{n.YesNo("a", nil, "0.5"), "added twice"},
		{n.YesNo("b", []string{"z"}, "0.5"), "not there yet"},
		{n.YesNo("b", []string{"a"}, "0.5"), "rows"},
		{n.YesNo("b", nil, "half"), "not a probability"},
		{n.Add("b", []string{"x", "y"}, nil, []string{"0.5", "0.4"}), "adds up to"},
	} {
		if c.err == nil || !strings.Contains(c.err.Error(), c.want) {
			t.Errorf("error %v, want one that says %q", c.err, c.want)
		}
	}
	if _, err := n.Query(Evidence{"q": "y"}); err == nil {
		t.Error("unknown evidence accepted")
	}
	if _, err := n.Query(Evidence{"a": "maybe"}); err == nil {
		t.Error("unknown state accepted")
	}
}

// A cause-set model is a Bayesian network with one root per cause, so the two
// oracles must agree to the last digit.
func TestSetsAgreeWithTheNetwork(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	pct := func() *big.Rat { return big.NewRat(1+rng.Int64N(98), 100) }
	for range 20 {
		n := &Net{}
		var prior, q []*big.Rat
		names := []string{"c0", "c1", "c2", "c3"}
		for _, name := range names {
			p := pct()
			prior, q = append(prior, p), append(q, pct())
			must(t, n.YesNo(name, nil, p.RatString()))
		}
		leak := pct()
		f := NoisyOr(true, leak, q...)
		var rows []string
		for row := range uint64(16) { // row 0 is all "y", the last parent turns fastest
			var set uint64
			for i := range names {
				if row>>(len(names)-1-i)&1 == 0 {
					set |= 1 << i
				}
			}
			rows = append(rows, f(set).RatString())
		}
		must(t, n.YesNo("sign", names, rows...))
		for _, seen := range []bool{true, false} {
			state := map[bool]string{true: "y", false: "n"}[seen]
			a, err := n.Query(Evidence{"sign": state})
			must(t, err)
			b, err := Sets{len(names), Independent(prior...), []func(uint64) *big.Rat{NoisyOr(seen, leak, q...)}}.Query()
			must(t, err)
			if a.Evidence.Cmp(b.Evidence) != 0 {
				t.Fatalf("evidence %s and %s", a.Evidence, b.Evidence)
			}
			for i, name := range names {
				if a.Marginal[name]["y"].Cmp(b.Cause[i]) != 0 {
					t.Fatalf("%s: %s and %s", name, a.Marginal[name]["y"], b.Cause[i])
				}
			}
		}
	}
}

// Quickscore (Heckerman, UAI 1989): with independent causes and noisy-or signs
// P(F-, F+) = sum over subsets F' of F+ of (-1)^|F'| prod_i [ p_i prod_{f in
// F' or F-} (1-q_if) + 1-p_i ]. The listing must give the same fraction.
func TestSetsAgreeWithQuickscore(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	pct := func() *big.Rat { return big.NewRat(1+rng.Int64N(98), 100) }
	const causes, signs = 6, 5
	for range 20 {
		var prior []*big.Rat
		var q [signs][]*big.Rat
		var seen [signs]bool
		for range causes {
			prior = append(prior, pct())
		}
		m := Sets{Causes: causes, Prior: Independent(prior...)}
		for s := range signs {
			for range causes {
				q[s] = append(q[s], pct())
			}
			seen[s] = rng.IntN(2) == 0
			m.Seen = append(m.Seen, NoisyOr(seen[s], new(big.Rat), q[s]...))
		}
		want := new(big.Rat)
	subsets:
		for sub := range 1 << signs {
			sign := int64(1)
			for s := range signs {
				if sub>>s&1 == 1 {
					if !seen[s] {
						continue subsets
					}
					sign = -sign
				}
			}
			term := big.NewRat(sign, 1)
			for i := range causes {
				quiet := new(big.Rat).Set(prior[i])
				for s := range signs {
					if sub>>s&1 == 1 || !seen[s] {
						quiet.Mul(quiet, new(big.Rat).Sub(one, q[s][i]))
					}
				}
				term.Mul(term, quiet.Add(quiet, new(big.Rat).Sub(one, prior[i])))
			}
			want.Add(want, term)
		}
		got, err := m.Query()
		must(t, err)
		if got.Evidence.Cmp(want) != 0 {
			t.Fatalf("evidence %s, quickscore %s", got.Evidence, want)
		}
		sum := new(big.Rat)
		for _, p := range got.Set {
			sum.Add(sum, p)
		}
		if sum.Cmp(one) != 0 {
			t.Fatalf("sets add up to %s", sum)
		}
	}
}
