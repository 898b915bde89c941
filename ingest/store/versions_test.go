package store

import (
	"bytes"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// What is written of a version is read back as it was, and two versions never
// write the same.
func TestVersionsComeBack(t *testing.T) {
	value := rapid.Custom(func(t *rapid.T) any {
		switch rapid.IntRange(0, 3).Draw(t, "type") {
		case 0:
			return nil
		case 1:
			return rapid.Int64().Draw(t, "whole")
		case 2:
			return rapid.Float64Range(-1e300, 1e300).Draw(t, "number")
		}
		return rapid.String().Draw(t, "text")
	})
	rapid.Check(t, func(t *rapid.T) {
		one, two := rapid.SliceOfN(value, 0, 6).Draw(t, "one"), rapid.SliceOfN(value, 0, 6).Draw(t, "two")
		var a, b bytes.Buffer
		encode(&a, one)
		encode(&b, two)
		if back, err := decode(a.Bytes()); err != nil || !slices.Equal(back, one) {
			t.Fatalf("want %#v, have %#v, %v", one, back, err)
		}
		if bytes.Equal(a.Bytes(), b.Bytes()) != slices.Equal(one, two) {
			t.Fatalf("%#v and %#v both write %q", one, two, a.Bytes())
		}
	})
	var text bytes.Buffer
	encode(&text, []any{"", "a\x00b", "3:x", int64(math.MinInt64), -0.5})
	if back, err := decode(text.Bytes()); err != nil || !slices.Equal(back, []any{"", "a\x00b", "3:x", int64(math.MinInt64), -0.5}) {
		t.Errorf("have %#v, %v", back, err)
	}
}

// A version that was cut short or written over is an error, and no value.
func TestDamagedVersions(t *testing.T) {
	for _, text := range []string{"-", "i5", "i\x00", "i5x\x00", "ix\x00", "f\x00", "f1e999\x00", "s\x00", "s3:ab\x00", "s2:ab", "s2:abc\x00", "s-1:ab\x00", "sx:ab\x00", "s99999999999999999999:a\x00", "s1:", "b1\x00", "x\x00", "\x00", "-x\x00", "i5\x00?", "s0:"} {
		if values, err := decode([]byte(text)); err == nil {
			t.Errorf("%q: want an error, have %#v", text, values)
		}
	}
	whole := "i5\x00s2:ab\x00-\x00f1.5\x00"
	for n := range len(whole) {
		if values, err := decode([]byte(whole[:n])); err == nil && len(values) == 4 {
			t.Errorf("%q: want fewer than 4 values or an error, have %#v", whole[:n], values)
		}
	}
}
