package store

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"

	"freshet/forecast"
	"freshet/ingest"
)

// vocabulary is what the shop calls its kinds of work: the folded names of the
// groups, and the words in them, with the groups that they mean. Two groups
// whose names fold alike are both meant.
type vocabulary map[string][]string

func (s *Store) vocabulary(ctx context.Context) (vocabulary, error) {
	kinds, err := s.Kinds(ctx)
	if err != nil {
		return nil, err
	}
	v := vocabulary{}
	for _, k := range kinds {
		for _, w := range append(k.Words, Word{Word: k.Name}) {
			if f := ingest.Fold(w.Word); f != "" && !slices.Contains(v[f], k.Name) {
				v[f] = append(v[f], k.Name)
			}
		}
	}
	return v, nil
}

const (
	skillMarks = ",;/|\n" // that may stand between skills, or within the name of one
	longestRun = 8        // parts of one kind's name between such marks
	everything = "all"
)

// skill is one of a person's skills as it was written, with the groups that it
// means: none if it is no word of the shop's.
type skill struct {
	word  string
	kinds []string
}

// skills parts what was written of a person's skills. "Electrical,Fridge" are
// two, "Roof A/C" is one where the shop has such a kind: from the left, the
// longest run of parts that is a word of the shop's is one skill. What is left
// is parted at all marks but the slash, which more often stands within a name.
func (v vocabulary) skills(text string) (out []skill) {
	var from, to []int // of the parts
	for at := 0; at <= len(text); {
		end := at + strings.IndexAny(text[at:]+skillMarks, skillMarks)
		if word := strings.TrimSpace(text[at:end]); word != "" {
			start := at + strings.Index(text[at:end], word)
			from, to = append(from, start), append(to, start+len(word))
		}
		at = end + 1
	}
	loose := -1 // where the unknown word in hand begins
	flush := func(end int) {
		if loose >= 0 {
			out = append(out, skill{word: text[loose:end]})
		}
		loose = -1
	}
next:
	for i := 0; i < len(from); {
		for j := min(len(from), i+longestRun); j > i; j-- {
			word := text[from[i]:to[j-1]]
			f := ingest.Fold(word)
			if kinds := v[f]; kinds != nil || f == everything {
				if i > 0 {
					flush(to[i-1])
				}
				if f == everything && kinds == nil {
					kinds = []string{everything}
				}
				out = append(out, skill{word, kinds})
				i = j
				continue next
			}
		}
		if i > 0 && strings.Trim(text[to[i-1]:from[i]], " ") != "/" {
			flush(to[i-1])
		}
		if loose < 0 {
			loose = from[i]
		}
		i++
	}
	if len(to) > 0 {
		flush(to[len(to)-1])
	}
	return out
}

// nearest gives the group whose name, or a word in it, is likest to an unknown
// word, or "".
func (v vocabulary) nearest(word string) string {
	best, most := "", 0.0
	for _, f := range slices.Sorted(maps.Keys(v)) {
		for _, name := range v[f] {
			for _, known := range []string{f, name} {
				if _, strength := ingest.Alike(word, known); strength > most {
					best, most = name, strength
				}
			}
		}
	}
	if best == "" {
		if near := ingest.Nearest(word, slices.Sorted(maps.Keys(v))); near != "" {
			best = v[near][0]
		}
	}
	return best
}

// SkillDoubts says which skills, of those who are still here on a day, are no
// word of the shop's, and who can do none of its kinds. Without any kinds there
// is nothing to hold them against.
func (s *Store) SkillDoubts(ctx context.Context, since forecast.Date) ([]string, error) {
	v, err := s.vocabulary(ctx)
	if err != nil || len(v) == 0 {
		return nil, err
	}
	crew, written, err := s.crew(ctx, v)
	if err != nil {
		return nil, err
	}
	var out []string
	for i, p := range crew {
		if p.Until.Valid && p.Until.V < since || written[i] == nil {
			continue
		}
		able := false
		for _, k := range written[i] {
			if k.kinds != nil {
				able = true
				continue
			}
			out = append(out, fmt.Sprintf("%s's skill “%s” is no kind of work in the records, and counts for nothing%s", p.Name, k.word, cmp.Or(asking(v.nearest(k.word)), ".")))
		}
		if !able {
			out = append(out, fmt.Sprintf("None of %s's skills is a kind of work in the records, so that the plan gives %s no work at all.", p.Name, p.Name))
		}
	}
	return out, nil
}

func asking(near string) string {
	if near == "" {
		return ""
	}
	return fmt.Sprintf(": is it “%s”?", near)
}

// timeOffDoubts says which time off that isn't over on a day is of people who
// aren't on the crew. Without a crew there is nothing to hold it against.
func (s *Store) timeOffDoubts(ctx context.Context, since forecast.Date) ([]string, error) {
	crew, err := s.Crew(ctx)
	if err != nil || len(crew) == 0 {
		return nil, err
	}
	off, err := s.Absences(ctx)
	if err != nil {
		return nil, err
	}
	var names, out []string
	known := map[string]bool{}
	for _, p := range crew {
		if f := ingest.Fold(p.Name); !known[f] {
			known[f], names = true, append(names, p.Name)
		}
	}
	for _, a := range off {
		if f := ingest.Fold(a.Name); !a.Shop() && a.Until >= since && !known[f] {
			known[f] = true // said once
			out = append(out, fmt.Sprintf("Time off of “%s”, from %s on, changes no hours: nobody of that name is on the crew%s",
				a.Name, inWords(a.From), cmp.Or(asking(ingest.Nearest(a.Name, names)), fmt.Sprintf(": %s.", several(names, ", ")))))
		}
	}
	return out, nil
}
