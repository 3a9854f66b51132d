package practice

import "strings"

// wellFormed reports whether a narrative is one div with its tags closed in
// order and its entities spelled out, which is as far as the real server looks. A
// parser of XML would cost more than all else that is done with a resource.
func wellFormed(text string) bool {
	text = strings.TrimSpace(text)
	if !strings.HasPrefix(text, "<div") || !strings.HasSuffix(text, ">") {
		return false
	}
	var open []string
	for first := true; text != ""; first = false {
		if len(open) == 0 && !first {
			return false // something after the end of the div
		}
		at := strings.IndexAny(text, "<&")
		if at < 0 {
			return false // the div is not closed
		}
		if text = text[at:]; text[0] == '&' {
			end := strings.IndexByte(text, ';')
			if end < 2 || strings.ContainsAny(text[1:end], " <&") {
				return false
			}
			text = text[end+1:]
			continue
		}
		if rest, comment := strings.CutPrefix(text, "<!--"); comment {
			_, after, closed := strings.Cut(rest, "-->")
			if !closed {
				return false
			}
			text = after
			continue
		}
		end := tagEnd(text)
		if end < 0 {
			return false
		}
		tag := text[1:end]
		text = text[end+1:]
		name, closing := strings.CutPrefix(tag, "/")
		if i := strings.IndexAny(name, " \t\r\n/"); i >= 0 {
			name = name[:i]
		}
		switch {
		case name == "":
			return false
		case closing && (len(open) == 0 || open[len(open)-1] != name):
			return false
		case closing:
			open = open[:len(open)-1]
		case !strings.HasSuffix(tag, "/"):
			open = append(open, name)
		}
	}
	return len(open) == 0
}

// tagEnd finds the end of a tag, past the quotes in it.
func tagEnd(text string) int {
	var quote byte
	for i := 1; i < len(text); i++ {
		switch c := text[i]; {
		case quote != 0:
			if c == quote {
				quote = 0
			}
		case c == '"' || c == '\'':
			quote = c
		case c == '>':
			return i
		case c == '<':
			return -1
		}
	}
	return -1
}
