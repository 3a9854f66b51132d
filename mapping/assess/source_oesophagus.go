package assess

// The publications behind the rules on the oesophagus.
var (
	jesJGES = source{"JES", "JES/JGES 2020", "JES/JGES position on superficial squamous cell carcinoma of the oesophagus", "JGES 2020 and JES, as reviewed in 2021",
		"review, Mini-invasive Surg 2021;5:36"}
	jes2022 = source{"JES", "JES 2022", "Esophageal cancer practice guidelines of the Japan Esophageal Society", "2022",
		"Kitagawa Y et al., Esophagus 2023, part 1 (quoted passages)"}
	jcog0508 = source{"JCOG0508", "JCOG0508 2019", "Endoscopic resection with selective chemoradiotherapy for cT1b oesophageal squamous cell carcinoma (JCOG0508)", "2019",
		"Minashi K et al., Gastroenterology 2019 (single arm, n=176)"}
	eacReview = source{"EAC review", "EAC review 2018", "Curability of endoscopic resection of oesophageal adenocarcinoma, review", "2018",
		"J Gastroenterol 2018, doi:10.1007/s00535-018-1491-x, PMC6314977"}
	esge2023 = source{"ESGE", "ESGE 2023", "ESGE guideline on Barrett's oesophagus", "2023", "Endoscopy 2023;55:1124"}
)
