package capacity

import (
	"cmp"
	"slices"

	"freshet/forecast"
)

// Loan is a technician whom one shop lends to another for a week. Chances are
// those of too few hours, 0 to 1.
type Loan struct {
	Monday   forecast.Date
	From, To int     // shops
	Hours    float64 // on jobs, for the one who borrows
	Lender   Change
	Borrower Change
}

// Change is a chance as it is and as it would be.
type Change struct{ Before, After float64 }

// worthLending is the least that a loan must take off the borrower's chance of
// too few hours: our own rule, since the way there costs time.
const worthLending = .05

// Lend says which shops may lend a technician to which: each shop's weeks as
// Spare gives them, in; a loan for each week in which one is short and another
// can spare somebody, out, in order of weeks and borrowers. The shop that is
// worst off borrows first, from the one that is best off, but from the same as
// the week before where that still can. A shop lends and borrows one at most,
// and never does both. The first week has begun and gets no loan.
//
// What a technician works elsewhere is the lesser of both shops' usual hours.
// For fewer than the borrower's own the chance is taken from a straight line,
// which errs on the careful side where chances fall ever more slowly. Whether
// the one lent knows the work, and how far it is, isn't known here.
func Lend(shops [][]Spared) []Loan {
	var first, end forecast.Date
	at := make([]map[forecast.Date]Spared, len(shops))
	for s, weeks := range shops {
		at[s] = map[forecast.Date]Spared{}
		for _, w := range weeks {
			at[s][w.Monday] = w
			if first == 0 || w.Monday < first {
				first = w.Monday
			}
			end = max(end, w.Monday+forecast.Week)
		}
	}
	var loans []Loan
	before := map[int]int{} // lender by borrower, of the last week
	for monday := first + forecast.Week; monday < end; monday += forecast.Week {
		var short, spare []int
		for s := range shops {
			if w, ok := at[s][monday]; ok && w.Short {
				short = append(short, s)
			} else if ok && w.Spares && w.Hours > 0 {
				spare = append(spare, s)
			}
		}
		slices.SortStableFunc(short, func(a, b int) int { return cmp.Compare(at[b][monday].Now, at[a][monday].Now) })
		slices.SortStableFunc(spare, func(a, b int) int { return cmp.Compare(at[a][monday].Chance, at[b][monday].Chance) })
		now := map[int]int{}
		for _, to := range short {
			b := at[to][monday]
			best, loan := -1, Loan{}
			for i, from := range spare {
				l := at[from][monday]
				hours := min(l.Hours, b.Hours)
				after := b.Now
				if b.Hours > 0 {
					after -= (b.Now - b.Helped) * hours / b.Hours
				}
				last, lent := before[to]
				if same := lent && last == from; b.Now-after >= worthLending && (best < 0 || same) {
					best = i
					loan = Loan{Monday: monday, From: from, To: to, Hours: hours, Lender: Change{l.Now, l.Chance}, Borrower: Change{b.Now, after}}
				}
			}
			if best >= 0 {
				now[to] = loan.From
				loans = append(loans, loan)
				spare = slices.Delete(spare, best, best+1)
			}
		}
		before = now
	}
	slices.SortStableFunc(loans, func(a, b Loan) int { return cmp.Or(cmp.Compare(a.Monday, b.Monday), cmp.Compare(a.To, b.To)) })
	return loans
}
