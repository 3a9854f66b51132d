package main

import "enbloc/server/practice"

// checkRepeated counts the versions that say what the version before said: a
// sender that repeats itself. The receiver makes a version of an equal update, so
// that it is seen.
func (v *verdict) checkRepeated(s surveyed, journal []practice.Write) {
	before := map[string]practice.Write{}
	for _, w := range journal {
		place := w.Type + "/" + w.ID
		if b, ok := before[place]; ok && s.plain(b.Body) == s.plain(w.Body) {
			v.note(&v.Repeated, "version %d of %s says the same as the one before", w.Version, place)
		}
		before[place] = w
	}
}
