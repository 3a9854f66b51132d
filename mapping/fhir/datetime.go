package fhir

// isInstant reports whether b is an R4 instant: a whole date, a time to the
// second at least, and a zone (hl7.org/fhir/R4/datatypes.html#instant).
func isInstant(b []byte) bool {
	rest, ok := cutDate(b, 3)
	return ok && isTimeWithZone(rest)
}

// isDateTime reports whether b is an R4 dateTime: a year, a month, a day, or a
// day with a time and a zone. A time without zone is none.
func isDateTime(b []byte) bool {
	for parts := 1; parts <= 3; parts++ {
		if rest, ok := cutDate(b, parts); ok && len(rest) == 0 {
			return true
		}
	}
	return isInstant(b)
}

// cutDate reads YYYY, YYYY-MM or YYYY-MM-DD off the front.
func cutDate(b []byte, parts int) (rest []byte, ok bool) {
	length := []int{0, 4, 7, 10}[parts]
	if len(b) < length {
		return nil, false
	}
	for i, c := range b[:length] {
		if i == 4 || i == 7 {
			if c != '-' {
				return nil, false
			}
		} else if c < '0' || c > '9' {
			return nil, false
		}
	}
	return b[length:], true
}

// isTimeWithZone reads Thh:mm:ss, a fraction if any, and Z or ±hh:mm.
func isTimeWithZone(b []byte) bool {
	const form = "Thh:mm:ss"
	if len(b) < len(form) || b[0] != 'T' || b[3] != ':' || b[6] != ':' ||
		!digits(b[1:3]) || !digits(b[4:6]) || !digits(b[7:9]) {
		return false
	}
	b = b[len(form):]
	if len(b) > 1 && b[0] == '.' {
		i := 1
		for i < len(b) && b[i] >= '0' && b[i] <= '9' {
			i++
		}
		if i == 1 {
			return false
		}
		b = b[i:]
	}
	if len(b) == 1 {
		return b[0] == 'Z'
	}
	return len(b) == 6 && (b[0] == '+' || b[0] == '-') && digits(b[1:3]) && b[3] == ':' && digits(b[4:6])
}

func digits(b []byte) bool {
	for _, c := range b {
		if c < '0' || c > '9' {
			return false
		}
	}
	return true
}
