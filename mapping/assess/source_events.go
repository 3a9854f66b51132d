package assess

// The publications behind the rules on adverse events, surveillance and drugs.
var (
	asge2010 = source{"ASGE", "ASGE 2010", "ASGE lexicon of endoscopic adverse events", "2010, as adapted in 2015",
		"Cotton PB et al., Gastrointest Endosc 2010;71:446, as tabulated in Gut 2015;64:1847, Table 3, and World J Gastrointest Endosc 2026;18:111384, Table 1"}
	agree2022 = source{"AGREE", "AGREE 2022", "AGREE classification of adverse events", "2022",
		"Nass KJ et al., Gastrointest Endosc 2022;95:1078, as tabulated in World J Gastrointest Endosc 2026;18:111384, Table 1"}
	burgess = source{"Sydney", "Sydney 2017", "Sydney classification of deep mural injury", "2017", "Burgess NG et al., Gut 2017;66:1779"}
	windows = source{"bleeding windows", "Windows 2016-2024", "Windows of delayed bleeding", "2016, 2021 and 2024",
		"15 days: Albéniz E, Clin Gastroenterol Hepatol 2016, doi:10.1016/j.cgh.2016.03.021; 28 days: Dig Dis Sci 2024;69:1372; 30 days: Albouys J, Endoscopy 2024;56:110, and Am J Gastroenterol 2020;115:774"}
	libanio = source{"bleeding windows", "Libânio 2017", "Criteria of bleeding after gastric ESD", "2017", "Libânio D et al., Endosc Int Open 2017;5:E563"}
	ito2018 = source{"coagulation syndrome", "Ito 2018", "Post-ESD electrocoagulation syndrome", "2018", "Ito S et al., J Gastroenterol Hepatol 2018;33:2001 (n=692)"}

	esge2020s  = source{"ESGE", "ESGE 2020", "ESGE guideline on post-polypectomy surveillance", "2020", "Endoscopy 2020;52:687"}
	usmstf2020 = source{"US MSTF", "US MSTF 2020", "US Multi-Society Task Force on surveillance after polypectomy", "2020",
		"Gastroenterology 2020;158:1131, as tabulated in a textbook of internal medicine"}
	esdo2019 = source{"ESGE", "ESGE/ESDO 2019", "ESGE/ESDO guideline on surveillance after colorectal cancer", "2019",
		"Endoscopy 2019;51:266, as quoted in Endosc Int Open 2019;7:E816, PMC6561767"}
	jgesColorectal = source{"JGES", "JGES colorectal", "JGES guidelines for colorectal ESD and EMR", "2nd edition", "a public transcription of the guideline"}
	esgeMemory     = source{"ESGE", "ESGE 2021/2022", "ESGE advice on surveillance, from memory", "2021/2022", "from memory, no page seen"}
	pylori         = source{"MAPS", "MAPS", "Management of epithelial precancerous conditions of the stomach (MAPS)", "II and III", "MAPS II and III; Clin Endosc 2018;51:253"}

	jges2017 = source{"JGES", "JGES 2012/2017", "JGES guidelines on antithrombotics around endoscopy", "2012, with the anticoagulant supplement of 2017",
		"JGES 2012 and supplement 2017, as summarised in Japanese"}
	bsgESGE2016 = source{"BSG/ESGE", "BSG/ESGE 2016", "BSG/ESGE guideline on antithrombotics around endoscopy", "2016", "Veitch AM et al., Endoscopy and Gut 2016"}
	bsgESGE2021 = source{"BSG/ESGE", "BSG/ESGE 2021", "BSG/ESGE guideline on antithrombotics around endoscopy", "2021", "Veitch AM et al., Endoscopy 2021;53:947"}
	curriculum  = source{"ESGE", "ESGE 2019", "ESGE curriculum for training in ESD", "2019", "Endoscopy 2019;51:980"}
	statistics  = source{"statistics", "Statistics", "Statistics of rates", "", "Newcombe RG, Stat Med 1998;17:857; Clopper and Pearson, Biometrika 1934;26:404; Spiegelhalter DJ, Stat Med 2005;24:1185; bio-protocol 9325945"}
)
