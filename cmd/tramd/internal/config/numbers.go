package config

import (
	"fmt"
	"math"
	"reflect"
	"strings"
)

// Two things hold for the numbers of every key, whatever else is asked of them. Each is finite. And a zero that is
// written means zero: where the program would take it for "not written", and so for something else, it is refused. A
// key whose zero means what it says has the tag zero:"meant"; without the tag a new key is safe.

// number is a numeric value of the file.
type number struct {
	path   string
	is     reflect.Value
	zeroed bool // it is 0, its zero is not meant, and it is written
}

// numbersOf collects the numbers under a table, before any default is filled in.
func numbersOf(path string, of reflect.Value, meant bool, at lines, out []number) []number {
	switch of.Kind() {
	case reflect.Pointer: // a number behind one tells zero from not written by itself
		if !of.IsNil() {
			return numbersOf(path, of.Elem(), true, at, out)
		}
	case reflect.Slice:
		for i := range of.Len() {
			out = numbersOf(fmt.Sprintf("%s.%d", path, i), of.Index(i), true, at, out)
		}
	case reflect.Struct:
		for i := range of.NumField() {
			field := of.Type().Field(i)
			key := field.Tag.Get("toml")
			switch {
			case field.Anonymous:
				out = numbersOf(path, of.Field(i), false, at, out)
			case key == "" || key == "-":
			case path == "":
				out = numbersOf(key, of.Field(i), field.Tag.Get("zero") == "meant", at, out)
			default:
				out = numbersOf(path+"."+key, of.Field(i), field.Tag.Get("zero") == "meant", at, out)
			}
		}
	default:
		if of.CanInt() || of.CanFloat() {
			_, written := at[path]
			out = append(out, number{path, of, of.IsZero() && written && !meant})
		}
	}
	return out
}

// numbers says what is wrong with numbers that nothing else was said of.
func (v *validator) numbers(found []number) {
	for _, n := range found {
		switch {
		case v.said(n.path):
		case n.is.CanFloat() && (math.IsNaN(n.is.Float()) || math.IsInf(n.is.Float(), 0)):
			v.bad(n.path, "%v is no number that can be reckoned with; write another, or remove it", n.is.Float())
		case n.zeroed && !n.is.IsZero():
			v.bad(n.path, "0 is taken for not written, which means %v; write that, or another number", n.is.Interface())
		case n.zeroed:
			v.bad(n.path, "0 is taken for not written; write another number, or leave it out")
		}
	}
}

// said reports whether a mistake was found at a key already.
func (v *validator) said(path string) bool {
	return v.told[path] || v.told[path[:max(0, strings.LastIndexByte(path, '.'))]] // or at the list it stands in
}
