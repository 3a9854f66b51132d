package delivery

// The rungs of writing. Which one a target is written by is found by a preflight
// and kept; each gives something up, from RungConditionalCreate on the more the
// lower it is.
const (
	// RungClientIDs writes one transaction of PUT Type/{role key}: for targets
	// that take ids of the client. No R4 condition guards such a first write, so
	// that RungConditionalCreate comes before it where both work.
	RungClientIDs = 1
	// RungConditionalCreate writes one transaction of POST with ifNoneExist
	// first and PUT by the recorded id with ifMatch later. It is the default.
	RungConditionalCreate = 2
	// RungConditionalUpdate writes one transaction of PUT Type?condition first
	// and PUT by the recorded id with ifMatch later. Only where nothing better is
	// left: under races two of four servers measured made doubles of it. So the
	// target is searched before and after each first write.
	RungConditionalUpdate = 3
	// RungSingle writes request by request in the order of the references, the
	// DiagnosticReports last and the Provenances after them.
	RungSingle = 4
	// RungDocument writes one DocumentReference for each state, which replaces
	// the one before.
	RungDocument = 5
	// RungFile writes nothing to the target: each state becomes a file of NDJSON
	// in a folder, for somebody else to bring in.
	RungFile = 6
)

// LastRung is the highest number of a rung; they are counted from 1.
const LastRung = RungFile

// FirstWrite says how RungSingle creates one resource.
type FirstWrite string

// The ways, best first.
const (
	// WithCondition sends If-None-Exist. It is the default.
	WithCondition FirstWrite = "conditional-create"
	// WithClientID puts under an id of ours.
	WithClientID FirstWrite = "client-id"
	// AfterSearch posts what a search just before did not find, and searches
	// again after: the weakest, for targets without any condition.
	AfterSearch FirstWrite = "after-search"
)

// Rung describes one rung for people.
type Rung struct {
	Number int    `json:"number"`
	Title  string `json:"title"`
	// Lost is what this rung gives up, in sentences.
	Lost []string `json:"lost"`
}

// lostWithoutTransaction holds for every rung from RungSingle on.
var lostWithoutTransaction = []string{
	"A case is not written all at once: while it is being written, parts of it can be seen. Its report comes last, so a report is never seen without its parts.",
	"A refusal in the middle leaves the parts before it on the server until the case is corrected.",
}

// lateWrite holds where no condition guards a first write.
const lateWrite = "A first write that got no answer is repeated once nothing is found. Should the server carry out the one before only after that, " +
	"it overwrites what has been written since, and this is noticed with the next state of the case."

// Rungs lists all rungs.
func Rungs() []Rung {
	return []Rung{
		{RungClientIDs, "transaction, ids of ours", []string{lateWrite}},
		{RungConditionalCreate, "transaction, conditional create, then update by id and version", []string{
			"The server chooses the ids, so our ledger is needed to update quickly; without it every resource is found again by its key."}},
		{RungConditionalUpdate, "transaction, conditional update for the first write", []string{
			"Two senders at the same moment could leave a double, as the server's condition is not safe under races. Each first write is searched for afterwards, and a double stops the case.", lateWrite}},
		{RungSingle, "single requests in order, the report last", lostWithoutTransaction},
		{RungDocument, "one document for each state of a case", []string{
			"Measurements, histology and results are inside a document: they cannot be searched, trended or counted on the server.",
			"A correction replaces the document as a whole; nothing inside it has a history of its own."}},
		{RungFile, "files in a folder", []string{
			"Nothing is written to the server. Files are made complete and in order, and somebody else must bring them in: whether they arrived is not known here."}},
	}
}

// RungNumbered returns the rung with a number; ok is false when there is none.
func RungNumbered(n int) (r Rung, ok bool) {
	if n < RungClientIDs || n > LastRung {
		return Rung{}, false
	}
	return Rungs()[n-1], true
}
