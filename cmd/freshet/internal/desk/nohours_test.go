package desk_test

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"freshet/cmd/freshet/internal/desk"
	"freshet/forecast"
	"freshet/ingest"
)

// A shop whose records have no hours can still be asked: what hangs on a job's
// usual hours is refused in words, and no number is one that JSON can't say.
func TestQuotesWithoutHours(t *testing.T) {
	d := empty(t)
	var text strings.Builder
	text.WriteString("ro_number,dropped_off,kind,ready\n")
	for i := range 1200 {
		in := asOf - 1 - forecast.Date(i)
		fmt.Fprintf(&text, "%d,%v,plumbing,%v\n", i, in, min(in+forecast.Date(1+i%9), asOf-1))
	}
	take(t, d, "drop-offs.csv", ingest.DropOffs, text.String(), nil)
	take(t, d, "crew.csv", ingest.Crew, "name,weekly_hours,productivity\nOda,40,.8\n", nil)
	if v, err := d.Quote(t.Context(), ask(asOf), desk.Inquiry{Kind: "plumbing", PartsDays: -1}); err == nil || !strings.Contains(err.Error(), "need quoted hours") {
		t.Errorf("without hours: have %+v, %v", v, err)
	}
	v, err := d.Quote(t.Context(), ask(asOf), desk.Inquiry{Kind: "plumbing", PartsDays: -1, Hours: 3})
	if err != nil {
		t.Fatal(err)
	}
	rows, err := d.QuoteRows(t.Context(), ask(asOf))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := json.Marshal([]any{v, rows}); err != nil {
		t.Error(err)
	}
}
