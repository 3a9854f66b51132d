package assess

// The publications behind the rules on the stomach.
var (
	jges2020 = source{"JGES", "JGES 2021", "JGES/JGCA guidelines for ESD and EMR of early gastric cancer", "JGES 2nd edition, 2020/21; JGCA 6th edition, 2021",
		"Ono H et al., Dig Endosc 2021;33:4-20, doi:10.1111/den.13883; Japanese Gastric Cancer Association, Gastric Cancer 2022, doi:10.1007/s10120-022-01331-8"}
	jgca6 = source{"JGCA", "JGCA 2021", "Japanese classification of gastric carcinoma and treatment guidelines", "6th edition, 2021",
		"Japanese Gastric Cancer Association, Gastric Cancer 2022, doi:10.1007/s10120-022-01331-8, chapter II-B"}
	esge2015 = source{"ESGE", "ESGE 2015", "ESGE guideline on endoscopic submucosal dissection", "2015",
		"ESGE 2015 criteria as tabulated in World J Gastrointest Surg 2021;13:1180, Table 1"}
	korea2020 = source{"Korea", "Korea 2020", "Korean clinical practice guideline for endoscopic resection of early gastrointestinal cancer", "2020",
		"Park CH et al., Korean J Gastroenterol 2020;75:264, PMC7137564"}
	esge2022 = source{"ESGE", "ESGE 2022", "ESGE guideline on endoscopic submucosal dissection of superficial gastrointestinal lesions", "2022",
		"Pimentel-Nunes P et al., Endoscopy 2022;54:591-622, doi:10.1055/a-1811-7025, PMID 35523224"}
	hatta2017 = source{"eCura", "eCura 2017", "eCura score of lymph node metastasis after non-curative resection (eCura C-2)", "2017",
		"Hatta W et al., Am J Gastroenterol 2017;112:874"}
	hatta2021 = source{"BEST-J", "BEST-J 2021", "BEST-J score of bleeding after gastric ESD", "2021",
		"Hatta W et al., Gut 2021;70:476-484, PMID 32499390"}
)
