package capacity

import (
	"slices"
	"testing"
)

// One of four can do gas: 34 h a week at 85 %, of the crew's 136. 40 h of it run
// short while the crew has hours; where all work is too much, no kind is named.
func TestTight(t *testing.T) {
	for _, c := range []struct {
		gas, other float64
		want       []string
	}{{40, 30, []string{"gas"}}, {20, 30, nil}, {40, 120, nil}} {
		p := storyPlan(level(c.other))
		gas := demand("gas", .5, level(c.gas))
		p.Kinds = append(p.Kinds, gas)
		p.Habits = plainHabits(2)
		for i := range p.Crew {
			p.Crew[i].Skills = []string{"work"}
		}
		p.Crew[0].Skills = []string{"all"}
		o, err := p.Outcome()
		if err != nil {
			t.Fatal(err)
		}
		if have := o.Tight(0); !slices.Equal(have, c.want) {
			t.Errorf("%v h of gas and %v h besides: want %v, have %v, chance short %v", c.gas, c.other, c.want, have, o.ChanceShort[0])
		}
	}
}
