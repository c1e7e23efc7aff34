package procedures

import (
	"encoding"
	"fmt"
	"reflect"
	"strings"
)

// JobKeys are the keys of a job that Set takes.
func JobKeys() (keys []string) {
	t := reflect.TypeFor[Job]()
	for k := range t.NumField() {
		key, _, _ := strings.Cut(t.Field(k).Tag.Get("toml"), ",")
		if kind := t.Field(k).Type.Kind(); key != "schema" && kind != reflect.Slice {
			keys = append(keys, key)
		}
	}
	return keys
}

// Set gives one key of a job the value of a text, as a job file would have it; an
// empty text takes the value away. Errors name the key.
func (j *Job) Set(key, text string) error {
	v := reflect.ValueOf(j).Elem()
	for k := range v.NumField() {
		name, _, _ := strings.Cut(v.Type().Field(k).Tag.Get("toml"), ",")
		field := v.Field(k)
		if name != key || key == "schema" || field.Kind() == reflect.Slice {
			continue
		}
		field.SetZero()
		switch {
		case text == "":
			return nil
		case field.Kind() == reflect.String:
			field.SetString(text)
			return nil
		case field.Kind() == reflect.Pointer:
			field.Set(reflect.New(field.Type().Elem()))
			field = field.Elem()
		}
		u, ok := field.Addr().Interface().(encoding.TextUnmarshaler)
		if !ok {
			return fmt.Errorf("key %q of a job can't be set by a text; use a job file", key)
		}
		if err := u.UnmarshalText([]byte(text)); err != nil {
			return fmt.Errorf("%s: %w", key, err)
		}
		return nil
	}
	return fmt.Errorf("%q is no key of a job that can be set so; there are %s (tables need a job file)", key, strings.Join(JobKeys(), ", "))
}
