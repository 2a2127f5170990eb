package seed

// car is a customer's car. Its key ties stories to it.
type car struct {
	key      string
	platform string
	year     int
	plate    string
	km       int // at the start of the two years
	kmPerDay int
}

type customer struct {
	name  string
	phone string // 555-0100 to 555-0199 is kept for invented numbers
	email string
	note  string
	cars  []car
}

var customers = []customer{
	{"Orla Pettibrook", "555-0101", "orla.pettibrook@example.com", "Rings back after five only.", []car{{"pettibrook", "pennon", 2009, "QF 41 TRD", 148000, 38}}},
	{"Bastian Roemer-Vale", "555-0102", "b.roemervale@example.com", "", []car{{"roemer", "trellis", 2011, "QF 07 VAL", 171000, 44}, {"roemer2", "thimble", 1998, "HX 612", 203000, 9}}},
	{"Quillfen Bread Company", "555-0103", "vans@bread.example", "Two vans, needed by four in the morning.", []car{{"bread1", "farthing", 2004, "QB 11 BRD", 226000, 96}, {"bread2", "farthing", 2005, "QB 12 BRD", 198000, 104}}},
	{"Tamsin Oduya-Holt", "555-0104", "tamsin.oduya@example.com", "", []car{{"oduya", "lantern", 2016, "LM 55 ODU", 88000, 47}}},
	{"Gerrit Vanderwick", "555-0105", "", "No e-mail; prefers a letter.", []car{{"vanderwick", "gantry", 2007, "GW 30 FLT", 182000, 22}}},
	{"Pia Lindqvist-Marsh", "555-0106", "pia.lm@example.com", "", []car{{"lindqvist", "quoit", 2014, "PL 20 QUO", 119000, 41}}},
	{"Desmond Achterberg", "555-0107", "d.achterberg@example.com", "", []car{{"achterberg", "plinth", 2010, "DA 50 TOW", 164000, 58}}},
	{"Quillfen Parish Nursing", "555-0108", "fleet@nursing.example", "Four small cars, invoice monthly.", []car{{"nurse1", "pennon", 2012, "PN 01 QFN", 131000, 71}, {"nurse2", "pennon", 2012, "PN 02 QFN", 139000, 74}, {"nurse3", "lantern", 2017, "PN 03 QFN", 97000, 69}, {"nurse4", "quoit", 2015, "PN 04 QFN", 104000, 66}}},
	{"Hettie Maddern-Ross", "555-0109", "hettie.mr@example.com", "", []car{{"maddern", "bobbin", 2001, "HM 18 BOB", 212000, 17}}},
	{"Emil Skovgaard-Tarn", "555-0110", "emil.st@example.com", "", []car{{"skovgaard", "ferrule", 2017, "ES 36 FER", 92000, 52}}},
	{"Wilhelmina Ashgrove", "555-0111", "", "Hard of hearing: write, do not ring.", []car{{"ashgrove", "thimble", 1999, "WA 12 THM", 118000, 7}}},
	{"Ruben Castellan-Frey", "555-0112", "ruben.cf@example.com", "", []car{{"castellan", "trellis", 2013, "RC 35 TRE", 143000, 49}}},
	{"Ines Harrowgate", "555-0113", "ines.h@example.com", "", []car{{"harrowgate", "pennon", 2008, "IH 20 PEN", 189000, 33}}},
	{"Marlow & Pike Roofing", "555-0114", "office@roofing.example", "Cars come in full of tar and ladders.", []car{{"marlow1", "plinth", 2012, "MP 50 RFG", 176000, 81}, {"marlow2", "tallow", 2000, "MP 22 RFG", 254000, 46}}},
	{"Jolanda Brightwater", "555-0115", "jolanda.b@example.com", "", []car{{"brightwater", "quoit", 2013, "JB 77 LAK", 128000, 36}}},
	{"Anselm Korrigan", "555-0116", "anselm.k@example.com", "Lives up the forest track.", []car{{"korrigan", "gantry", 2009, "AK 30 FST", 157000, 39}}},
	{"Beatrix Tollemond", "555-0117", "beatrix.t@example.com", "", []car{{"tollemond", "farthing", 2003, "BT 16 FAR", 171000, 21}}},
	{"Lorcan Wyndmoor", "555-0118", "lorcan.w@example.com", "Does his own brakes and some other things.", []car{{"wyndmoor", "trellis", 2010, "LW 35 DIY", 198000, 42}}},
	{"Saskia Penhallow-Iro", "555-0119", "saskia.pi@example.com", "", []car{{"penhallow", "lantern", 2015, "SP 25 LAN", 112000, 40}}},
	{"Tobiah Grantchester-Ude", "555-0120", "tobiah.gu@example.com", "", []car{{"grantchester", "bobbin", 2000, "TG 18 BOB", 187000, 12}}},
	{"Mirabel Stonequist", "555-0121", "", "", []car{{"stonequist", "tallow", 1999, "MS 22 TAL", 231000, 15}}},
	{"Fenland Taxi Circle", "555-0122", "desk@taxi.example", "Meters running: wants the car back the same day.", []car{{"taxi1", "ferrule", 2018, "FT 01 CAB", 168000, 190}, {"taxi2", "lantern", 2018, "FT 02 CAB", 181000, 204}, {"taxi3", "pennon", 2013, "FT 03 CAB", 312000, 176}}},
	{"Corwin Athelby", "555-0123", "corwin.a@example.com", "", []car{{"athelby", "plinth", 2011, "CA 50 PLI", 139000, 31}}},
	{"Dagny Ulverton", "555-0124", "dagny.u@example.com", "", []car{{"ulverton", "pennon", 2010, "DU 20 PEN", 162000, 45}}},
	{"Ephraim Noakes-Lindh", "555-0125", "ephraim.nl@example.com", "Tows a boat every other weekend.", []car{{"noakes", "trellis", 2014, "EN 35 SEA", 122000, 54}}},
	{"Rosalba Quennell", "555-0126", "rosalba.q@example.com", "", []car{{"quennell", "farthing", 2006, "RQ 16 FAR", 142000, 28}}},
	{"Magnus Thornaby-Eke", "555-0127", "magnus.te@example.com", "", []car{{"thornaby", "quoit", 2016, "MT 20 QUO", 86000, 43}}},
	{"Sunniva Larkrise", "555-0128", "sunniva.l@example.com", "", []car{{"larkrise", "ferrule", 2016, "SL 36 FER", 109000, 38}}},
	{"Old Ferry Allotment Society", "555-0129", "", "Shared car; ask for whoever holds the key.", []car{{"allotment", "thimble", 2000, "OF 12 SPD", 156000, 11}}},
	{"Cyprian Vossmoor", "555-0130", "cyprian.v@example.com", "", []car{{"vossmoor", "gantry", 2006, "CV 30 GAN", 207000, 29}}},
	{"Leocadia Brandreth", "555-0131", "leocadia.b@example.com", "", []car{{"brandreth", "lantern", 2014, "LB 25 LAN", 134000, 46}}},
	{"Alistair Penrhyn-Sato", "555-0132", "alistair.ps@example.com", "", []car{{"penrhyn", "trellis", 2012, "AP 35 TRE", 151000, 37}}},
	{"Henrike Dunmallow", "555-0133", "henrike.d@example.com", "", []car{{"dunmallow", "pennon", 2011, "HD 20 PEN", 126000, 34}}},
	{"Basil Ferncastle", "555-0134", "basil.f@example.com", "Retired engineer, likes to see the numbers.", []car{{"ferncastle", "plinth", 2013, "BF 50 PLI", 98000, 24}}},
}
