// Package chart draws a unit's figures for people who would rather look: funnel
// plot, learning curve, speed over time, map of site and Paris type; as SVG and
// PNG.
//
// It promises that every picture says on its face what was counted, which
// limits were drawn and what was left out; that shape or line says what colour
// says, for readers who do not tell colours apart and for printers without; and
// that the same data give the same bytes.
package chart
