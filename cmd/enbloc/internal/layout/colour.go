package layout

import "strings"

// SGR codes of ECMA-48 (8.3.117); the sixteen colours that every terminal has
// and that its owner can choose.
const (
	sgrReset  = "\x1b[0m"
	sgrBold   = "\x1b[1m"
	sgrRed    = "\x1b[31m"
	sgrYellow = "\x1b[33m"
	sgrGreen  = "\x1b[32m"
)

// tones gives the words that get a colour where there is one; each stands for
// itself without it.
var tones = map[string]string{
	"ERROR": sgrRed, "FAILED": sgrRed, "REFUSED": sgrRed,
	"WARNING": sgrYellow, "CHANGED": sgrYellow,
	"OK": sgrGreen, "EQUAL": sgrGreen,
}

func (p *Page) bold(text string) string {
	if !p.colour || text == "" {
		return text
	}
	return sgrBold + text + sgrReset
}

// paint colours a cell or label that is one of the known words.
func (p *Page) paint(text string) string {
	tone, ok := tones[strings.TrimSpace(text)]
	if !p.colour || !ok {
		return text
	}
	return tone + text + sgrReset
}
