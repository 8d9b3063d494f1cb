package report

import (
	"encoding/json"
	"fmt"
	"io"
	"reflect"

	"github.com/leadline/leadline/analysis"
)

// JSON writes r indented by two spaces, unscaled and unrounded, in the order of the struct's fields. Unknown numbers are null, absent lists [].
// Characters such as < and & stand as they are: the file is data, not a part of a page. It errs where a field that must be known is
// NaN or infinite, and where w errs.
func JSON(w io.Writer, r *analysis.Result) error {
	if r == nil {
		return errNoResult
	}
	return encode(w, *r)
}

// RecordingsJSON writes what recordings hold, but for the responses, in the same way.
func RecordingsJSON(w io.Writer, r *analysis.Recordings) error {
	if r == nil {
		return errNoRecordings
	}
	return encode(w, *r)
}

func encode(w io.Writer, value any) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	if err := enc.Encode(listed(reflect.ValueOf(value)).Interface()); err != nil {
		return fmt.Errorf("report: the result can't be written as JSON: %w", err)
	}
	return nil
}

// listed is a copy of v in which every nil slice is an empty one, so that a reader of the JSON can loop without asking first.
func listed(v reflect.Value) reflect.Value {
	out := reflect.New(v.Type()).Elem()
	out.Set(v)
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			out.Field(i).Set(listed(v.Field(i)))
		}
	case reflect.Pointer:
		if !v.IsNil() {
			out.Set(reflect.New(v.Type().Elem()))
			out.Elem().Set(listed(v.Elem()))
		}
	case reflect.Slice:
		out.Set(reflect.MakeSlice(v.Type(), v.Len(), v.Len()))
		for i := range v.Len() {
			out.Index(i).Set(listed(v.Index(i)))
		}
	}
	return out
}
