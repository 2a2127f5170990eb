package main

import (
	"bytes"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"
)

// compose is the part of the compose file's structure that we use (Compose
// Specification, compose-spec.io).
type compose struct {
	Name     string `yaml:"name"`
	Services map[string]struct {
		Build struct {
			Context    string `yaml:"context"`
			Dockerfile string `yaml:"dockerfile_inline"`
		} `yaml:"build"`
		Image     string `yaml:"image"`
		Init      bool   `yaml:"init"`
		Restart   string `yaml:"restart"`
		DependsOn map[string]struct {
			Condition string `yaml:"condition"`
		} `yaml:"depends_on"`
		Environment map[string]string `yaml:"environment"`
		Secrets     []string          `yaml:"secrets"`
		Ports       []string          `yaml:"ports"`
		Networks    []string          `yaml:"networks"`
		Volumes     []string          `yaml:"volumes"`
		ReadOnly    bool              `yaml:"read_only"`
		Tmpfs       []string          `yaml:"tmpfs"`
		CapDrop     []string          `yaml:"cap_drop"`
		SecurityOpt []string          `yaml:"security_opt"`
		ShmSize     string            `yaml:"shm_size"`
		StopGrace   string            `yaml:"stop_grace_period"`
		Healthcheck struct {
			Test          []string `yaml:"test"`
			Interval      string   `yaml:"interval"`
			Timeout       string   `yaml:"timeout"`
			Retries       int      `yaml:"retries"`
			StartPeriod   string   `yaml:"start_period"`
			StartInterval string   `yaml:"start_interval"`
		} `yaml:"healthcheck"`
		Logging map[string]any `yaml:"logging"`
	} `yaml:"services"`
	Networks map[string]struct {
		Internal bool `yaml:"internal"`
	} `yaml:"networks"`
	Volumes map[string]any `yaml:"volumes"`
	Secrets map[string]struct {
		File string `yaml:"file"`
	} `yaml:"secrets"`
}

func TestCompose(t *testing.T) {
	root := filepath.Join("..", "..")
	b, err := os.ReadFile(filepath.Join(root, "docker-compose.yml"))
	check(t, err)
	var c compose
	d := yaml.NewDecoder(bytes.NewReader(b))
	d.KnownFields(true)
	check(t, d.Decode(&c))
	app, db := c.Services["app"], c.Services["db"]

	t.Run("names only what it defines", func(t *testing.T) {
		for name, s := range c.Services {
			for _, n := range s.Networks {
				if _, ok := c.Networks[n]; !ok {
					t.Errorf("%s: no network %s", name, n)
				}
			}
			for _, n := range s.Secrets {
				if c.Secrets[n].File == "" {
					t.Errorf("%s: no secret file %s", name, n)
				}
			}
			for _, v := range s.Volumes {
				volume, _, _ := strings.Cut(v, ":")
				if _, ok := c.Volumes[volume]; !ok {
					t.Errorf("%s: no volume %s", name, volume)
				}
			}
			for n, on := range s.DependsOn {
				if len(c.Services[n].Healthcheck.Test) == 0 || on.Condition != "service_healthy" {
					t.Errorf("%s: %s has no health to wait for", name, n)
				}
			}
			if len(s.Healthcheck.Test) == 0 {
				t.Errorf("%s has no health check", name)
			}
		}
	})

	t.Run("gives the app settings that it takes", func(t *testing.T) {
		password := filepath.Join(t.TempDir(), "password")
		check(t, os.WriteFile(password, []byte("0123456789abcdef\n"), 0o600))
		substituted := regexp.MustCompile(`\$\{\w+:-(http://localhost:)\$\{\w+:-(\d+)\}\}`)
		var environ []string
		for name, value := range app.Environment {
			value = substituted.ReplaceAllString(value, "$1$2")
			environ = append(environ, name+"="+strings.ReplaceAll(value, "/run/secrets/postgres_password", password))
		}
		cfg, err := loadConfig(environ)
		check(t, err)
		if cfg.databaseURL != "postgres://crosscount:0123456789abcdef@db:5432/crosscount?sslmode=disable" {
			t.Errorf("database address %s", cfg.databaseURL)
		}
		if cfg.baseURL.String() != "http://localhost:8080" || app.Ports[0] != "${CROSSCOUNT_PORT:-8080}:8080" || cfg.address != ":8080" {
			t.Errorf("site %s, ports %v, address %s", cfg.baseURL, app.Ports, cfg.address)
		}
		for _, name := range []string{"POSTGRES_USER", "POSTGRES_DB"} {
			if db.Environment[name] != "crosscount" {
				t.Errorf("%s is %q, which the address does not name", name, db.Environment[name])
			}
		}
	})

	t.Run("keeps the password in its file only", func(t *testing.T) {
		for name, s := range c.Services {
			for variable, value := range s.Environment {
				if strings.Contains(variable, "PASSWORD") && (!strings.HasSuffix(variable, "_FILE") || !strings.HasPrefix(value, "/run/secrets/")) {
					t.Errorf("%s: %s", name, variable)
				}
			}
		}
		ignored, err := os.ReadFile(filepath.Join(root, ".gitignore"))
		check(t, err)
		folder, _, _ := strings.Cut(strings.TrimPrefix(c.Secrets["postgres_password"].File, "./"), "/")
		if !strings.Contains(string(ignored), "/"+folder+"/\n") {
			t.Errorf("%s is not ignored by git", folder)
		}
	})

	t.Run("runs the app without rights it does not need, on a network the database alone is not", func(t *testing.T) {
		if !app.ReadOnly || !slices.Equal(app.CapDrop, []string{"ALL"}) || !slices.Contains(app.SecurityOpt, "no-new-privileges:true") {
			t.Error("the app has more rights than it needs")
		}
		if !regexp.MustCompile(`(?m)^USER [1-9]\d*:[1-9]\d*$`).MatchString(app.Build.Dockerfile) {
			t.Error("the app runs as root")
		}
		if len(db.Ports) != 0 || !slices.Equal(db.Networks, []string{"inside"}) || !c.Networks["inside"].Internal {
			t.Error("the database can be reached from outside")
		}
	})

	t.Run("builds the program with the Go of go.mod from all folders that it needs", func(t *testing.T) {
		mod, err := os.ReadFile(filepath.Join(root, "go.mod"))
		check(t, err)
		version := regexp.MustCompile(`(?m)^go (\d+\.\d+)`).FindSubmatch(mod)
		if !strings.Contains(app.Build.Dockerfile, "FROM golang:"+string(version[1])+"-") {
			t.Errorf("go.mod wants Go %s", version[1])
		}
		out, err := exec.Command("go", "list", "-deps", "-f", "{{if not .Standard}}{{.ImportPath}}{{end}}", "crosscount/cmd/crosscount").Output()
		check(t, err)
		need := map[string]bool{}
		for _, path := range strings.Fields(string(out)) {
			if rest, ok := strings.CutPrefix(path, "crosscount/"); ok {
				folder, _, _ := strings.Cut(rest, "/")
				need[folder] = true
			}
		}
		if len(need) < 5 {
			t.Errorf("too few folders to prove anything: %v", need)
		}
		for folder := range maps.Keys(need) {
			if !strings.Contains(app.Build.Dockerfile, "COPY "+folder+" "+folder+"\n") {
				t.Errorf("%s is not copied", folder)
			}
		}
	})

	t.Run("has the client programs of the database's version", func(t *testing.T) {
		version := regexp.MustCompile(`^postgres:(\d+)`).FindStringSubmatch(db.Image)
		if version == nil || !strings.Contains(app.Build.Dockerfile, "postgresql-client-"+version[1]+" ") {
			t.Errorf("the database is %s", db.Image)
		}
	})

	t.Run("asks for health with commands that there are", func(t *testing.T) {
		if !slices.Equal(app.Healthcheck.Test, []string{"CMD", "crosscount", readyCommand.name}) {
			t.Errorf("%v", app.Healthcheck.Test)
		}
	})
}
