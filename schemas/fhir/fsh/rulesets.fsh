// What the profiles share. Our own terminology is made from the code table of the program and is referred to by its
// canonical addresses; the value sets are enumerated, because a validator without a terminology server enforces no other.
Alias: $E = https://enbloc.example/fhir/CodeSystem/enbloc
Alias: $UCUM = http://unitsofmeasure.org
Alias: $SCT = http://snomed.info/sct
Alias: $LOINC = http://loinc.org
Alias: $OBSCAT = http://terminology.hl7.org/CodeSystem/observation-category

// What an element means, as a reader of the guide needs it.
RuleSet: Say(path, short, definition)
* {path} ^short = "{short}"
* {path} ^definition = "{definition}"

// A fact of one kind, whose value is one concept of a group.
RuleSet: Coded(code, group)
* code = $E#{code}
* value[x] only CodeableConcept
* value[x] from https://enbloc.example/fhir/ValueSet/enbloc-{group} (required)

// A fact of one kind, which lists concepts of a group in order. One concept is the value; with several, the value is
// words and each concept a component, because several codings in one value would read as synonyms. The binding is only
// preferred, since a stronger one asks for a code beside the words; a rule keeps our concepts to the group.
RuleSet: Ranked(code, group)
* code = $E#{code}
* value[x] only CodeableConcept
* value[x] from https://enbloc.example/fhir/ValueSet/enbloc-{group} (preferred)
* insert Components
* insert CodedComponent(first, rank-1, 0..1, {group}, [[First in order]], [[The concept that counts most where several were stated.]])
* insert CodedComponent(second, rank-2, 0..1, {group}, [[Second in order]], [[The concept that counts second.]])
* insert CodedComponent(third, rank-3, 0..1, {group}, [[Third in order]], [[The concept that counts third.]])
* insert CodedComponent(further, rank-4, 0.., {group}, [[Further in order]], [[Every concept after the third, in the order of the list.]])
* obeys enb-ranked-1
* obeys enb-ranked-{group}

// A fact of one kind, which is yes or no.
RuleSet: YesNo(code)
* code = $E#{code}
* value[x] only CodeableConcept
* value[x] from https://enbloc.example/fhir/ValueSet/enbloc-yes-no (required)

// A fact of one kind, which is a figure in one unit of UCUM.
RuleSet: Measured(code, unit)
* code = $E#{code}
* value[x] only Quantity
* valueQuantity.system 1..1
* valueQuantity.system = "http://unitsofmeasure.org"
* valueQuantity.code 1..1
* valueQuantity.code = #{unit}
* obeys enb-measure-1

RuleSet: Components
* component ^slicing.discriminator.type = #pattern
* component ^slicing.discriminator.path = "code"
* component ^slicing.rules = #open
* component ^slicing.description = "Coordinates of the one statement, told apart by their code."

RuleSet: Component(slice, code, card, short, definition)
* component contains {slice} {card}
* component[{slice}] ^short = "{short}"
* component[{slice}] ^definition = "{definition}"
* component[{slice}].code = $E#{code}

RuleSet: CodedComponent(slice, code, card, group, short, definition)
* insert Component({slice}, {code}, {card}, [[{short}]], [[{definition}]])
* component[{slice}].value[x] only CodeableConcept
* component[{slice}].value[x] from https://enbloc.example/fhir/ValueSet/enbloc-{group} (required)

RuleSet: MeasuredComponent(slice, code, card, unit, short, definition)
* insert Component({slice}, {code}, {card}, [[{short}]], [[{definition}]])
* component[{slice}].value[x] only Quantity
* component[{slice}].valueQuantity.code 1..1
* component[{slice}].valueQuantity.code = #{unit}

// The category that searches go by; a target may add its own.
RuleSet: Category(code)
* category ^slicing.discriminator.type = #pattern
* category ^slicing.discriminator.path = "$this"
* category ^slicing.rules = #open
* category ^slicing.description = "Ours, beside those that a target asks for."
* category contains ours 1..1
* category[ours] = $OBSCAT#{code}

// The key by which a resource is found again: the same in every version of the record.
RuleSet: Identified
* identifier 1..*
* insert Say(identifier, [[Key of the resource within its case, and further identifiers]], [[One identifier is the role key: opaque, made by the sender, the same in every version of the record. It finds the resource on any server.]])

// Who publishes it, and that it is meant for use.
RuleSet: Published
* ^publisher = "enbloc"
* ^experimental = false
