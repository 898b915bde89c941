package store_test

import (
	"context"
	"testing"

	"freshet/forecast"
)

// Units come back with their last visit of those known on the day, and an
// emergency without the hours that were clocked later.
func TestCalls(t *testing.T) {
	s := open(t)
	ctx := context.Background()
	take(t, s, "ro_number,dropped_off,unit,kind,clocked_hours,ready,emergency\n"+
		"1,2024-05-06,A,roof,2,2024-05-08,\n"+
		"2,2024-06-03,A,roof,2,2024-06-05,\n"+
		"3,2024-07-01,B,roof,2,2024-07-03,\n"+
		"4,2025-09-01,B,roof,2,2025-09-03,\n"+
		"5,2021-07-05,C,roof,2,2021-07-07,\n"+
		"6,2025-06-02,D,roof,3,2025-06-03,yes\n"+
		"7,2025-06-30,D,roof,4,2025-07-15,yes\n")
	day := forecast.NewDate(2025, 7, 7)
	seen, err := s.NotSeen(ctx, day-3*365, day-365, day, 10)
	if err != nil || len(seen) != 2 || seen[0].Unit != "B" || seen[0].RO != "3" || seen[1].RO != "2" || seen[1].Day != forecast.NewDate(2024, 6, 3) {
		t.Errorf("have %+v, %v", seen, err)
	}
	if seen, err = s.NotSeen(ctx, day-3*365, day-365, day, 1); err != nil || len(seen) != 1 {
		t.Errorf("want one, have %+v, %v", seen, err)
	}
	jobs, err := s.Emergencies(ctx, day-365, day)
	if err != nil || len(jobs) != 2 || jobs[0].Clocked.V != 3 || jobs[1].Clocked.Valid || jobs[1].Ready.Valid {
		t.Errorf("have %+v, %v", jobs, err)
	}
}
