package store

import (
	"net/url"
	"strings"
)

// OnServer tells whether a place is the URL of a PostgreSQL database, and not the
// name of a file.
func OnServer(place string) bool {
	return strings.HasPrefix(place, "postgres://") || strings.HasPrefix(place, "postgresql://")
}

// Shown is a place as it may be shown to anybody: a URL without its password.
func Shown(place string) string {
	if !OnServer(place) {
		return place
	}
	u, err := url.Parse(place)
	if err != nil { // its error would repeat all of it
		scheme, _, _ := strings.Cut(place, "://")
		return scheme + "://…"
	}
	q := u.Query()
	for key := range q {
		if strings.Contains(strings.ToLower(key), "password") {
			q.Set(key, "xxxxx")
		}
	}
	u.RawQuery = q.Encode()
	return u.Redacted()
}
