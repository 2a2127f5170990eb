package templates

import "strings"

// commas joins what is there.
func commas(parts ...string) string {
	var out strings.Builder
	for _, p := range parts {
		if p == "" {
			continue
		}
		if said := out.String(); said != "" {
			if !strings.HasSuffix(said, ".") { // a sentence needs no comma
				out.WriteByte(',')
			}
			out.WriteByte(' ')
		}
		out.WriteString(p)
	}
	return out.String()
}

// colon adds words after a colon, if there are any.
func colon(say, words string) string {
	if words == "" {
		return say
	}
	return say + ": " + words
}

// RoleWord names a role.
func RoleWord(role string) string {
	switch role {
	case "writer":
		return "service writer"
	case "technician":
		return "technician"
	case "owner":
		return "owner"
	}
	return role
}
