// Package stats holds the few statistics that quality figures of endoscopic
// resection need: intervals for a rate, limits of a funnel plot, the weights
// of a learning curve, areas, and the figures of a two-by-two table.
//
// They work on counts that somebody has made over many reports; nothing here
// reads a report. Every function names the publication it follows and refuses
// counts that cannot be.
package stats
