package record

// onlyOwner and safePlace: files in a user's profile are the user's own on this
// system.
func onlyOwner(string) error { return nil }

func safePlace(string) error { return nil }
