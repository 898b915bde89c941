package desk

import "testing"

// What a status says is read as people mean it: what has come or was approved
// isn't waited for any more.
func TestStatuses(t *testing.T) {
	for status, want := range map[string]bool{
		"Waiting for parts": true, "on order": true, "Parts ordered": true, "Approval": true, "not approved": true, "Waiting to be approved": true, "customer to decide": true,
		"On hold until parts arrived": true, "Insurance": true,
		"": false, "In the bay": false, "Ready": false, "ready, customer called": false, "Approved": false, "Parts received": false, "Insurance approved": false, "work order open": false, "Repair order 7": false,
	} {
		if waits(status) != want {
			t.Errorf("%q: want %v", status, want)
		}
	}
}
