package templates

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
