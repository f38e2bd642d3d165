package carriage

// Closing ends whatever is said of a hazard.
const Closing = "Follow your local rules and a licensed person."

// Hazard is a matter in which somebody or something can come to harm.
type Hazard struct {
	Matter    string `json:"matter"`
	Say       string `json:"say"`       // what to do and not to do; ends with Closing
	Authority string `json:"authority"` // who says so; "from memory" marks what was not seen in its text
}

// Hazards returns the matters to settle before the instrument travels, those
// of its own fittings first. All else holds for every chronometer.
func Hazards(f Fittings) []Hazard {
	var all []Hazard
	for _, h := range hazards {
		if h.of == nil || h.of(f) {
			all = append(all, Hazard{Matter: h.matter, Say: h.say + " " + Closing, Authority: h.authority})
		}
	}
	return all
}

func luminous(f Fittings) bool { return f.Luminous }
func ivory(f Fittings) bool    { return f.IvoryPlate }
func darkWood(f Fittings) bool { return f.DarkWood }
func boxed(f Fittings) bool    { return f.Box }

var hazards = []struct {
	matter, say, authority string
	of                     func(Fittings) bool
}{
	{"radium dial",
		"Take a luminous dial made before about 1970 as radium. Do not open, scrape, brush, clean or renew it. Intact it stays closed: bag it, label it, keep it apart, wash your hands. Damage is reported.",
		"US: 10 CFR 31.12 and NRC letter of 6 October 2016; stripping and renewing needs a licence (NRC HPPOS-142); up to 1 µCi (37 kBq) an intact timepiece made before 30 November 2007 is exempt (text of 10 CFR 30.15 in Oregon OAR 333-102-0015)", luminous},
	{"tritium and promethium",
		"Newer luminous paint may be tritium or promethium. Up to 25 mCi (925 MBq) of tritium a timepiece is exempt in the US; elsewhere it differs. Keep it closed.",
		"US: as for radium; Nevada NAC 459.190", luminous},
	{"sending a luminous dial",
		"It may be an excepted package of class 7, with limits of activity and of dose at the article and at the package, the material enclosed and the package marked. The exclusion for consumer goods begins only after sale to the end user. Many carriers refuse, so ask in writing.",
		"49 CFR 173.424; PHMSA letter 13-0060 (2013); UN 2911, IAEA SSR-6, ICAO and ADR from memory", luminous},
	{"ivory",
		"Any ivory of elephants, however little, needs a certificate before it crosses a border, and trade in it is nearly banned in the US since 6 July 2016. Other countries have rules of their own.",
		"CITES appendix I, guidance for instruments; US Fish and Wildlife Service, ivory questions and answers (2016); UK Ivory Act 2018 and EU guidance 2021 from memory", ivory},
	{"rosewood",
		"A box of Brazilian rosewood needs a certificate before it crosses a border. Dark wood that nobody has named is taken as rosewood.",
		"CITES appendix I, guidance for instruments", darkWood},
	{"mainspring and fusee",
		"Power remains when it has stopped. It is let down with a fitting key before anything is loosened, by a licensed hand at the bench, and never by lifting the detent. An owner leaves barrel and fusee alone.",
		"Meadows and Passmore, Repairing your own clock, page 10; the rule of the detent from memory", nil},
	{"solvents and cleaning",
		"Nothing is cleaned for the journey. Benzene is not used at all; ammonia attacks brass under stress and loosens shellac; naphtha burns. None of them goes by post.",
		"NIOSH Pocket Guide 2005-149; 29 CFR 1910.1028; naphtha, and EU REACH annex XVII entry 5, from memory", nil},
	{"shellac and polish",
		"Spirit and ammonia dissolve shellac, which holds stones and polish. The box gets no water and no spirit, and no tape on the polish.",
		"from memory", boxed},
	{"mercury and lead",
		"Barometers and mercury thermometers do not travel with it. Lead weights and old paint are touched with gloves, and not sanded.",
		"49 CFR 173.164 and 175.10; lead from memory", nil},
	{"customs",
		"Goods sent for repair are usually declared for inward or outward processing, and not for temporary admission, which is for what undergoes no change but wear. Declare it for repair and return, with its number and value, and ask for relief as returned goods on the way back.",
		"EU Union Customs Code, article 250; the rest from memory", nil},
	{"export of old things",
		"What is old may need a licence to leave a country, even for repair: in the UK the question arises for what was made more than 50 years ago, in the EU by age and value.",
		"UK: Export of Objects of Cultural Interest (Control) Order 2003; EU: Regulation 116/2009, limits from memory", nil},
	{"insurance",
		"Have the value agreed in writing, for both ways and for its stay. Many carriers exclude antiques, clocks and glass, and pay by weight; a label is no cover.",
		"common practice, no source", nil},
}
