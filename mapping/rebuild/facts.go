package rebuild

// fact says where in the report the parts of an Observation belong. Paths are
// relative to what its panel is about; "lesion:" and "report:" lead out of it.
type fact struct {
	// value is where the Observation's own value goes.
	value string
	// item: each Observation of this code is one item of this list, and the
	// other paths are relative to it.
	item string
	// parts are the components, by our code.
	parts map[string]string
	// ranked: the value is a list; with several, they are the components.
	ranked bool
	// note is where the note goes; words where the words go that stand for a
	// value that is not coded.
	note, words string
	// period: the item has a start and an end of its own.
	period bool
	// moment is where the time goes when it is not the panel's.
	moment string
}

// beforeFacts are those of the panel before the session.
var beforeFacts = map[string]fact{
	"age-at-session":         {value: "report:patient/age_y"},
	"session-gas":            {value: "report:session/gas"},
	"session-cap":            {value: "report:session/cap"},
	"indication":             {value: "indication", note: "indication_text", words: "indication_text"},
	"antithrombotic-list":    {value: "antithrombotic_history"},
	"inr":                    {value: "inr"},
	"thrombotic-risk":        {value: "thrombotic_risk"},
	"haemodialysis":          {value: "haemodialysis"},
	"asa-class":              {value: "asa_class"},
	"h-pylori-status":        {value: "h_pylori"},
	"implanted-device":       {value: "implanted_device", parts: map[string]string{"precaution": "implant_precaution"}},
	"neutral-electrode-site": {value: "neutral_electrode_site"},
	"sedation-depth":         {value: "sedation/depth"},
	"fasting-time":           {value: "fasting_h"},
	"boston-scale": {parts: map[string]string{"boston-right": "boston/right", "boston-transverse": "boston/transverse",
		"boston-left": "boston/left"}},
	"earlier-measure": {item: "earlier", value: "kind", note: "text", parts: map[string]string{"earlier-date": "date",
		"earlier-indication": "indication", "earlier-ecura": "ecura", "local-recurrence": "local_recurrence"}},
	"antithrombotic-agent": {item: "antithrombotics", value: "class", parts: map[string]string{"agent-taken": "agent",
		"management-component": "management", "replaced-by": "replaced_by", "bridging-component": "bridging",
		"last-dose": "last_dose", "planned-restart": "planned_restart"}},
}

// examinationFacts are those of a lesion as it was seen.
var examinationFacts = map[string]fact{
	"lesion-location": {value: "site", parts: map[string]string{"location-organ": "organ", "location-third": "third",
		"location-wall": "wall", "location-mucosa": "mucosa"}},
	"distance-incisors":      {value: "distance_incisors_cm"},
	"distance-anal-verge":    {value: "distance_anal_verge_cm"},
	"prague-c":               {value: "prague_c_cm"},
	"prague-m":               {value: "prague_m_cm"},
	"lesion-size-long":       {value: "size_long_mm"},
	"lesion-size-short":      {value: "size_short_mm"},
	"lesion-height":          {value: "height_mm"},
	"lesion-axial-length":    {value: "axial_length_mm"},
	"lesion-circumference":   {value: "circumference_pct"},
	"lesion-circumferential": {value: "circumferential"},
	"paris-type":             {value: "paris", ranked: true},
	"pedicle":                {value: "pedicle"},
	"lst-subtype":            {value: "lst"},
	"endoscopic-ulceration":  {value: "ulceration"},
	"access-quality":         {value: "access"},
	"papilla-involved":       {value: "involves_papilla"},
	"multiple-tumours":       {value: "multiple_tumours"},
	"nice-class":             {value: "nice"},
	"jnet-class": {value: "jnet", parts: map[string]string{"jnet-vessel-component": "jnet_vessel",
		"jnet-surface-component": "jnet_surface"}},
	"kudo-pattern":           {value: "kudo", ranked: true},
	"demarcation-line":       {value: "demarcation_line"},
	"microvascular-pattern":  {value: "microvascular_pattern"},
	"microsurface-pattern":   {value: "microsurface_pattern"},
	"white-opaque-substance": {value: "white_opaque_substance"},
	"non-extension-sign":     {value: "non_extension_sign"},
	"full-insufflation":      {value: "full_insufflation"},
	"converging-folds":       {value: "converging_folds"},
	"muscle-ridge":           {value: "muscle_ridge"},
	"rigid-arc":              {value: "rigid_arc"},
	"trapezoid-elevation":    {value: "trapezoid_elevation"},
	"non-lifting-sign":       {value: "non_lifting_sign"},
	"eus-depth":              {value: "eus_depth"},
	"biopsy-histology":       {value: "biopsy_types", ranked: true},
	"predicted-histology":    {value: "predicted_histology"},
	"predicted-depth":        {value: "predicted_depth"},
	"predicted-sm-depth":     {value: "predicted_sm_depth_um"},
	"clinical-n":             {value: "clinical_n"},
	"suspected-malignancy":   {value: "suspected_malignancy"},
	"patient-position":       {value: "patient_position"},
	"gravity":                {value: "gravity"},
}

// resectionFacts are those of what was done, and of the specimen it gave.
var resectionFacts = map[string]fact{
	"resection-technique": {value: "technique", parts: map[string]string{"planned-technique": "planned_technique",
		"technique-aid": "aids[]"}},
	"resection-completion": {value: "completion"},
	"stop-reason":          {value: "stop_reason", note: "stop_text", words: "stop_text"},
	"resection-step":       {item: "phases", value: "step", period: true},
	"generator-setting": {item: "settings", value: "step", parts: map[string]string{"tool-in-hand": "instrument",
		"output-kind": "output", "output-effect": "effect", "output-max-power": "max_w"}},
	"marking": {value: "marking/done", parts: map[string]string{"marking-distance": "marking/distance_mm",
		"oral-side-marked": "marking/oral_side_marked"}},
	"mucosal-incision": {value: "incision/extent", parts: map[string]string{"first-side": "incision/began"}},
	"submucosal-injection": {item: "injections", value: "agent", moment: "given_at", parts: map[string]string{
		"injection-additive": "additives[]", "injection-volume": "volume_ml", "first-side": "first_side",
		"extent-component": "extent", "lift-quality": "lift", "injection-timing-component": "timing"}},
	"trimming":         {value: "trimming"},
	"instruments-used": {value: "knives", ranked: true},
	"vessel-treated": {item: "vessels", value: "count", moment: "at", parts: map[string]string{"vessel-size-component": "size",
		"treatment-moment": "when", "tool-in-hand": "with"}},
	"intraprocedural-bleeding": {value: "bleeding_occurred"},
	"bleeding-spell": {item: "bleeding", period: true, parts: map[string]string{"bleeding-kind-component": "kind",
		"stopped-by": "stopped_by[]"}},
	"base-coagulation-done": {value: "base_coagulation/done", parts: map[string]string{"tool-in-hand": "base_coagulation/with"}},
	"submucosal-fibrosis":   {value: "fibrosis"},
	"muscle-injury-type":    {value: "muscle_injury"},
	"defect-closure": {value: "closure/result", parts: map[string]string{"closure-means-component": "closure/means[]",
		"clip-count": "closure/clips"}},
	"piece-count":          {value: "pieces"},
	"visible-residual":     {value: "visible_residual"},
	"defect-circumference": {value: "defect_circumference_pct"},
	"defect-length":        {value: "defect_length_mm"},
	"stricture-prevention": {value: "stricture_prevention"},
	"specimen-retrieved":   {value: "lesion:specimen/retrieved"},
	"specimen-size-long":   {value: "lesion:specimen/size_long_mm"},
	"specimen-size-short":  {value: "lesion:specimen/size_short_mm"},
	"specimen-handling": {parts: map[string]string{"orientation-component": "lesion:specimen/orientation",
		"pinned-component": "lesion:specimen/pinned", "photographed-component": "lesion:specimen/photographed",
		"fixative-component": "lesion:specimen/fixative"}},
}

// histologyFacts are the pathologist's.
var histologyFacts = map[string]fact{
	"histological-type": {value: "types", ranked: true},
	"undifferentiated-component": {value: "undifferentiated_component/present", parts: map[string]string{
		"undifferentiated-size":         "undifferentiated_component/size_mm",
		"undifferentiated-in-submucosa": "undifferentiated_component/in_submucosa"}},
	"histological-grade":             {value: "grade"},
	"worst-histological-grade":       {value: "worst_grade"},
	"dysplasia-grade":                {value: "dysplasia"},
	"pt-category":                    {value: "pt"},
	"sm-depth":                       {value: "depth_um", parts: map[string]string{"depth-base-line": "depth_from"}},
	"horizontal-margin-status":       {value: "horizontal_margin", parts: map[string]string{"margin-distance": "horizontal_distance_mm"}},
	"vertical-margin-status":         {value: "vertical_margin", parts: map[string]string{"margin-distance": "vertical_distance_um"}},
	"lymphatic-invasion-status":      {value: "lymphatic_invasion"},
	"venous-invasion-status":         {value: "venous_invasion"},
	"lymphovascular-invasion-status": {value: "lymphovascular_invasion"},
	"tumour-budding":                 {value: "budding"},
	"budding-count":                  {value: "budding_count", parts: map[string]string{"counted-field": "budding_field_mm2"}},
	"histological-ulceration":        {value: "ulceration"},
	"tumour-size-long":               {value: "tumour_long_mm"},
	"tumour-size-short":              {value: "tumour_short_mm"},
}

// eventParts are the components of an event's Observation.
var eventParts = map[string]string{
	"event-timing-component": "timing", "event-symptoms": "symptoms[]", "event-unstable": "haemodynamically_unstable",
	"event-emergency-endoscopy": "emergency_endoscopy", "event-hb-before": "hb_before_g_dl", "event-hb-after": "hb_after_g_dl",
	"event-transfusion": "transfusion", "event-transfusion-units": "transfusion_units", "event-tenderness": "local_tenderness",
	"event-temperature": "temp_c", "event-crp": "crp_mg_dl", "event-wbc": "wbc_per_ul",
	"event-intervention-needed": "intervention_needed", "event-aborted": "procedure_aborted", "event-contact": "unplanned_contact",
	"event-drugs": "drug_treatment", "event-observation-time": "extended_observation_h", "event-admission-time": "admission_h",
	"event-nights": "unplanned_nights", "event-icu-nights": "icu_nights", "event-organ-failures": "organ_failures",
	"event-disability": "permanent_disability", "event-outcome-status": "outcome",
}
