package check

import "enbloc/mapping/report"

// afterSignature reports whether the status says that somebody signed.
func afterSignature(s report.Status) bool {
	return s == report.Signed || s == report.Amended || s == report.Corrected
}

func signedWithoutSigner(r *report.Report, say say) {
	if afterSignature(r.Status) && r.Signer == nil {
		say("/signer", "The report counts as signed, but nobody is named as signer.", "Add the signer's staff number.")
	}
}

func signedWithoutTime(r *report.Report, say say) {
	if afterSignature(r.Status) && r.SignedAt.IsZero() {
		say("/signed_at", "The report counts as signed, but the time of the signature is missing.", "Add the time of the signature.")
	}
}

func draftSigned(r *report.Report, say say) {
	if r.Status == report.Draft && !r.SignedAt.IsZero() {
		say("/status", "The report is a draft and yet carries a time of signature.", "Send it as signed, or without the time.")
	}
}

func withdrawnWithoutReason(r *report.Report, say say) {
	if r.Status == report.Withdrawn && r.StatusReason == "" {
		say("/status_reason", "The report is withdrawn without a reason; those who acted on it must learn why.", "Say why, for example: entered for the wrong patient.")
	}
}

func changeWithoutReason(r *report.Report, say say) {
	if (r.Status == report.Amended || r.Status == report.Corrected) && r.StatusReason == "" {
		say("/status_reason", "The report was changed after signature without a reason.", "Say in a few words what was changed and why.")
	}
}

func firstRevisionChanged(r *report.Report, say say) {
	if r.Revision == 1 && (r.Status == report.Amended || r.Status == report.Corrected) {
		say("/revision", "The first revision cannot change an earlier one.", "Check the revision and the status.")
	}
}

func writtenBeforeSession(r *report.Report, say say) {
	if earlier(r.WrittenAt, r.Session.Start) {
		say("/written_at", "The report was written before the session began.", "Check the date, the time and the zone of both.")
	}
}

// signedBeforeWritten spares withdrawn reports: they keep the signature of what
// is withdrawn.
func signedBeforeWritten(r *report.Report, say say) {
	if r.Status != report.Withdrawn && earlier(r.SignedAt, r.WrittenAt) {
		say("/signed_at", "The signature is older than the text it signs.", "Check both times, or have this revision signed.")
	}
}

// Ages outside these bounds are possible and far more often a slip.
const youngest, oldest = 15, 105 // years

func ageImplausible(r *report.Report, say say) {
	if age := r.Patient.AgeY; below(age, youngest) || above(age, oldest) {
		say("/patient/age_y", "An age of "+age.Text()+" years is unusual for an endoscopic resection.", "Check the age; it is that on the day of the session.")
	}
}
