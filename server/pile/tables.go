package main

// table says how the rows of a case in one table are made of those of a real
// case. In its texts r is a row of the table, s the real case and n the new one,
// see [newCases]; whatever has no entry in set is copied.
type table struct {
	name string
	// from and owner find the rows and the case that each belongs to.
	from, owner string
	// only leaves out new cases that have no such rows (any more).
	only string
	// set has the expressions of columns that are not copied; an empty one leaves
	// the column to the engine.
	set map[string]string
}

// What the keys of a new case are made of. They are spread as evenly as hashes
// are, and rise with the position, so that rows come in the order of every index.
const (
	newCase = `n.case_key`
	// The first 13 characters of a UUID of version 7 are its time.
	newID       = `n.clock || substr(r.id, 14)`
	newDocument = `n.clock || substr(r.document_id, 14)`
	newDelivery = `n.clock || substr(r.delivery_id, 14)`
	newPart     = `replace(r.part_id, s.name, n.name)`
	newValue    = `replace(r.value, s.name, n.name)`
)

// tables are all that hold rows of cases, those that others refer to first.
var tables = []table{
	{name: "cases", from: `cases r`, owner: `r.case_key`, set: map[string]string{
		"case_key": newCase, "report_id": `replace(r.report_id, s.name, n.name)`, "created_at": `n.at`, "updated_at": `n.at`}},
	{name: "documents", from: `documents r`, owner: `r.case_key`, set: map[string]string{
		"id": newID, "case_key": newCase, "part_id": newPart, "received_at": `n.at`}},
	{name: "document_keys", from: `document_keys r JOIN documents d ON d.id = r.document_id`, owner: `d.case_key`, set: map[string]string{
		"document_id": newDocument, "value": newValue}},
	{name: "case_keys", from: `case_keys r`, owner: `r.case_key`, set: map[string]string{"case_key": newCase, "value": newValue}},
	{name: "states", from: `states r`, owner: `r.case_key`, set: map[string]string{"case_key": newCase, "document_id": newDocument}},
	{name: "deliveries", from: `deliveries r`, owner: `r.case_key`, set: map[string]string{
		"id": newID, "case_key": newCase, "next_attempt": `n.at`, "created_at": `n.at`, "updated_at": `n.at`}},
	{name: "attempts", from: `attempts r JOIN deliveries d ON d.id = r.delivery_id`, owner: `d.case_key`, set: map[string]string{
		"delivery_id": newDelivery, "started_at": `n.at`}},
	{name: "delivered", from: `delivered r`, owner: `r.case_key`, set: map[string]string{"case_key": newCase, "written_at": `n.at`}},
	// The role keys inside a page are copied: nothing looks them up.
	{name: "ledger_pages", from: `ledger_pages r`, owner: `r.case_key`, set: map[string]string{"case_key": newCase}},
	// Answers belong to no case: one to each.
	{name: "idempotency", from: `(SELECT i.*, row_number() OVER (ORDER BY i.key) - 1 AS k FROM idempotency i) r JOIN pile_seed s ON s.k = r.k`,
		owner: `s.case_key`, only: `n.recent = 1`, set: map[string]string{"key": `n.token || substr(r.key, 9)`}},
	{name: "river_job", from: `river_job r JOIN deliveries d ON d.job_id = r.id`, owner: `d.case_key`, only: `n.recent = 1`, set: map[string]string{"id": ``}},
}
