package record

import (
	"reflect"
	"time"
)

// Zone is where the bench's clock stood when the run began. Times in a record
// are UTC; this tells what the people at the bench saw on the wall.
type Zone struct {
	Name   string `json:"name"`   // as the computer calls it, such as CET
	Offset string `json:"offset"` // from UTC, such as +01:00
}

// zoneAt is the zone of a place at a time.
func zoneAt(t time.Time, place *time.Location) Zone {
	if place == nil {
		place = time.UTC
	}
	t = t.In(place)
	name, _ := t.Zone()
	return Zone{name, t.Format("-07:00")}
}

// Local is a time of the record as the bench's clock showed it, at the offset
// that held when the run began.
func (r Record) Local(t time.Time) time.Time {
	at, err := time.Parse("-07:00", r.Zone.Offset)
	if err != nil {
		return t // records of the first schema keep the zone in each time
	}
	_, seconds := at.Zone()
	return t.In(time.FixedZone(r.Zone.Name, seconds))
}

var timeType = reflect.TypeFor[time.Time]()

// toUTC sets every time below v, which must be settable, to UTC.
func toUTC(v reflect.Value) {
	switch v.Kind() {
	case reflect.Struct:
		if v.Type() == timeType {
			if v.CanSet() {
				v.Set(reflect.ValueOf(v.Interface().(time.Time).UTC()))
			}
			return
		}
		for k := range v.NumField() {
			if v.Type().Field(k).IsExported() {
				toUTC(v.Field(k))
			}
		}
	case reflect.Pointer:
		if !v.IsNil() {
			toUTC(v.Elem())
		}
	case reflect.Slice, reflect.Array:
		for k := range v.Len() {
			toUTC(v.Index(k))
		}
	case reflect.Map:
		for _, k := range v.MapKeys() {
			one := reflect.New(v.Type().Elem()).Elem()
			one.Set(v.MapIndex(k))
			toUTC(one)
			v.SetMapIndex(k, one)
		}
	}
}
