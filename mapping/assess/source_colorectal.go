package assess

// The publications behind the rules on colon, rectum and duodenum.
var (
	jsccr = source{"JSCCR", "JSCCR 2009/2016", "JSCCR guidelines for colorectal cancer: pT1 after endoscopic resection", "2009 text and 2016 edition; unchanged in a 2022 review table that does not show the edition",
		"JSCCR 2009 and 2016; Cancers 2022;14:5255, Table 2, PMC9657704"}
	itbcc = source{"ITBCC", "ITBCC 2016", "International Tumor Budding Consensus Conference", "2016",
		"Lugli A et al., Mod Pathol 2017;30:1299; J Clin Oncol 2019;37:1886 for the halves of BD3"}
	niceTable  = source{"NICE", "NICE 2012", "NICE classification of colorectal polyps", "2012", "Diagn Ther Endosc 2012:173269, Table 2"}
	jnetTable  = source{"JNET", "JNET 2014", "JNET classification of colorectal tumours", "2014, as tabulated in 2020 and 2023", "World J Gastroenterol 2023;29:2600, Table 1; Korean J Gastroenterol 2020;75:264, Table 6; INTESTINE 2017;21(5)"}
	kudoTable  = source{"Kudo", "Kudo", "Pit pattern classification", "as commonly taught", "from memory, no page seen"}
	kudoVI     = source{"Kudo", "Kudo VI 2008", "Irregularity of the type VI pit pattern", "2008", "World J Gastroenterol 2008;14:211"}
	smsaSource = source{"SMSA", "SMSA 2013", "SMSA score of difficulty", "2013; single values as tabulated in 2023", "Gupta S et al., Frontline Gastroenterol 2013;4:244, PMC5369843; World J Gastroenterol 2023;29:2600, Table 3"}
	limoges    = source{"Limoges", "Limoges 2024", "Limoges score of bleeding after colorectal ESD", "2024", "Albouys J et al., Endoscopy 2024;56:110, doi:10.1055/a-2189-0807"}
	debe       = source{"DEBE", "DEBE 2025", "DEBE score of bleeding after colorectal ESD", "2025, abstract", "Endoscopy 2025;57(S02):S100"}
	gseed      = source{"GSEED-RE", "GSEED-RE 2016", "GSEED-RE score of bleeding after colorectal EMR", "2016", "Albéniz E et al., Clin Gastroenterol Hepatol 2016, doi:10.1016/j.cgh.2016.03.021"}
	esge2021d  = source{"ESGE", "ESGE 2021", "ESGE guideline on superficial non-ampullary duodenal tumours", "2021", "Vanbiervliet G et al., Endoscopy 2021;53:522, doi:10.1055/a-1442-2395"}
	bogie      = source{"LST", "Bogie 2018", "Submucosal invasion by subtype of laterally spreading tumour", "2018", "Bogie RMM et al., Endoscopy 2018 (meta-analysis of 48 studies)"}
	hisabe     = source{"Non-extension sign", "Hisabe 2018", "Non-extension sign in the colorectum", "2018", "Hisabe T et al., Endosc Int Open 2018;6:E156 (n=315)"}
	nagahama   = source{"Non-extension sign", "Nagahama 2017", "Non-extension sign in the stomach", "2017", "Nagahama T et al., Gastric Cancer 2017;20:304, PMID 27165641"}
	eusPooled  = source{"EUS", "EUS pooled 2020", "Endosonography for depth, pooled", "2020", "PMC6942824"}
	mesda      = source{"MESDA-G", "MESDA-G 2016", "Magnifying endoscopy simple diagnostic algorithm for early gastric cancer", "2016", "Dig Endosc 2016;28:379, Fig. 1"}
	paris2002  = source{"Paris", "Paris 2002", "Paris endoscopic classification of superficial neoplastic lesions", "2002 workshop", "Gastrointest Endosc 2003;58(6 Suppl):S3; Endoscopy 2005;37:570 for the squamous limit"}
)
