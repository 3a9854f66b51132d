package check

// Sources that are no publication.
const (
	logic    = "contradiction within the document, no source needed"
	practice = "common practice, no source"
)

// Publications. Where only a review, table or quotation of one was read, the
// text says so.
const (
	bestJ        = "BEST-J score: Hatta W et al., Gut 2021;70:476, PMID 32499390"
	bogie        = "lateral-spreading tumours are 10 mm or more: Bogie RMM et al., Endoscopy 2018 (48 studies)"
	burgess      = "deep mural injury: Burgess NG et al., Gut 2017;66:1779 (colonic lesions of 20 mm or more; elsewhere an extension)"
	depthSteps   = "stomach: JGES guideline, 2nd ed., Ono H et al., Dig Endosc 2021;33:4, DOI 10.1111/den.13883 (second-hand); squamous oesophagus: review in Mini-invasive Surg 2021;5:36 (second-hand)"
	esge2022     = "R0 requires en bloc: ESGE, Pimentel-Nunes P et al., Endoscopy 2022;54:591, DOI 10.1055/a-1811-7025"
	esgeDuodenum = "ESGE, Vanbiervliet G et al., Endoscopy 2021;53:522, DOI 10.1055/a-1442-2395"
	handling     = "specimen handling: Gastroenterol Endosc 2021;63:1075"
	itbcc        = "tumour budding in the colorectum: Lugli A et al., Mod Pathol 2017;30:1299 (cut-offs second-hand)"
	jgcaTypes    = "Japanese classification of gastric carcinoma, JGCA, 6th ed. 2022, DOI 10.1007/s10120-022-01331-8"
	jgesDrugs    = "JGES guideline on antithrombotics around endoscopy, 2012, with the anticoagulant supplement of 2017 (second-hand)"
	jgesGastric  = "JGES guideline for early gastric cancer, 2nd ed., Ono H et al., Dig Endosc 2021;33:4, DOI 10.1111/den.13883 (second-hand)"
	jnet         = "NICE and JNET classes as tabulated in Diagn Ther Endosc 2012:173269 Table 2 and World J Gastroenterol 2023;29:2600 Table 1 (second-hand)"
	nagahama     = "non-extension sign in the stomach: Nagahama T et al., Gastric Cancer 2017;20:304, PMID 27165641"
	paris        = "Paris workshop, Gastrointest Endosc 2003;58(6 Suppl):S3; squamous limit: Endoscopy 2005;37:570 (second-hand)"
	sccDepth     = "depth steps of the squamous oesophagus: review in Mini-invasive Surg 2021;5:36 (second-hand)"
	smDepth      = "base line of submucosal depth: Gastroenterol Endosc 2022;64:2255 (abstract)"
	stricture    = "steroid against stricture: Korean guideline 2020, statement E6 (more than 75%), Korean J Gastroenterol 2020;75:264; Japan Esophageal Society 2022 (three quarters or more), Esophagus 2023 (second-hand)"
)
