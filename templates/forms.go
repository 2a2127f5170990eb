package templates

// NewLogin is the empty log-in page.
func NewLogin(p Page) LoginView {
	return LoginView{Page: p,
		Name:     Field{Name: "login", Label: "Log-in name", Complete: "username", Required: true},
		Password: Field{Name: "password", Label: "Password", Type: "password", Complete: "current-password", Required: true},
	}
}

func newPasswordFields() (first, again Field) {
	return Field{Name: "password", Label: "New password", Type: "password", Complete: "new-password", Required: true, Hint: "At least 10 characters. A few words in a row are good."},
		Field{Name: "password_again", Label: "The same once more", Type: "password", Complete: "new-password", Required: true}
}

func nameField() Field {
	return Field{Name: "name", Label: "Name", Complete: "name", Required: true, Hint: "As colleagues call this person."}
}

func loginField() Field {
	return Field{Name: "login", Label: "Log-in name", Complete: "username", Required: true, Hint: "Short, without spaces."}
}

// NewStart is the empty page of the first owner.
func NewStart(p Page) StartView {
	v := StartView{Page: p, Name: nameField(), Login: loginField()}
	v.First, v.Again = newPasswordFields()
	return v
}

// NewNewPassword is the empty page behind a password link.
func NewNewPassword(p Page) NewPasswordView {
	v := NewPasswordView{Page: p}
	v.First, v.Again = newPasswordFields()
	return v
}

// NewMe is a person's own page before anything is typed.
func NewMe(p Page) MeView {
	v := MeView{Page: p, Language: Field{Name: "language", Label: "Language"}, Old: Field{Name: "old_password", Label: "Present password", Type: "password", Complete: "current-password", Required: true}}
	v.First, v.Again = newPasswordFields()
	return v
}
