package audit

// Outcome is what an entry led to: the entry itself and the marks that were made when it was applied, in order.
// The store writes an outcome as one row for the entry and one for each mark, each with its ledger leaf.
type Outcome struct {
	Entry Entry
	Marks []Mark
	// Refused says why the entry changed nothing, e.g. a joint started on a build that does not exist.
	// Such an entry is recorded all the same. Empty for an ordinary one.
	Refused string
}
