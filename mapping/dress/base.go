package dress

// base is the neutral graph itself: R4 without any national guide.
var _ = register(Dressing{Name: Base, Title: "base FHIR R4, for every server"})
