package web

import (
	"slices"

	"freshet/cmd/freshet/internal/desk"
	"freshet/cmd/freshet/internal/post"
)

// fieldText says in plain words what a setting is: its label, the unit of its
// number, and what follows from it.
type fieldText struct{ Label, Unit, Hint string }

// limitTexts are the words of the costs and limits, by name.
var limitTexts = map[string]fieldText{
	"chance-limit":     {"Chance of too few hours that you put up with", "%", "Above it you are told to do something. Lower: you are told sooner, and more often for nothing."},
	"lot-spaces":       {"Rigs that fit on the lot and in the bays", "rigs", "The plan says in which weeks the lot may be full; 0: not a limit."},
	"line-limit":       {"Longest line that is all right", "weeks of work", "Advice tries to keep the work in line below it."},
	"line-carry":       {"Line that is always fine", "weeks of work", "With less work than this waiting, days may go empty."},
	"worth":            {"Smallest change worth a word", "hours on jobs", "Advice about fewer hours is left out."},
	"overtime-premium": {"An hour of overtime costs", "times the regular wage", "Often 1.5. Your state and local rules count."},
	"overtime-cap":     {"Longest week of one technician", "hours", "Overtime included."},
	"overtime-weeks":   {"Overtime on end, at the most", "weeks", "People tire: after that they get a rest."},
	"saturday-crew":    {"Crew that works an opened Saturday", "% of the crew", ""},
	"lost-cost":        {"An hour of work lost to another shop costs you", "dollars", "What it would have brought in, less what it would have cost. 0: not known."},
	"wait-cost":        {"An hour of work that waits costs you", "dollars a week", "In trouble and good will. 0: not known."},
	"line-longest":     {"Line beyond which work goes elsewhere", "weeks of work", "Customers who would wait longer go to another shop."},
	"hire-cost":        {"Finding and settling in a technician costs", "dollars", "Ads, tools and the time of those who teach; wages apart."},
	"fill-weeks":       {"Filling a post takes", "weeks", "From the ad to the handshake."},
	"notice-weeks":     {"A new technician gives notice elsewhere of", "weeks", ""},
	"ramp-weeks":       {"A new technician works at full speed after", "weeks", ""},
	"sent-out-cost":    {"An hour of work sent to another shop costs", "dollars", "0: not known; then no cost stands beside that advice."},
}

// mailTexts are the words of the letter's settings, by name. The day and the
// hour, the way to keep letters secret and the attachment have fields of
// their own kind.
var mailTexts = map[string]fieldText{
	"to":            {"The owner's letter goes to", "", "E-mail addresses, apart by commas. It has costs and advice in it."},
	"counter":       {"The counter's letter goes to", "", "E-mail addresses, apart by commas. It has no money in it. Empty: none is sent."},
	"from":          {"Letters come from", "", "The shop's e-mail address."},
	"host":          {"Mail server", "", "Your mail provider's help pages name it, as “outgoing mail” or SMTP: such as smtp.example.com."},
	"port":          {"Port of the mail server", "", "A number, 587 for most."},
	"security":      {"How letters are kept secret on their way", "", ""},
	"user":          {"User name at the mail server", "", "Often the whole e-mail address."},
	"password-file": {"File with the password", "", "The password is never kept among the records: write it into a text file that only you can read, and give the file's name with its folder here."},
	"attach":        {"The report comes with the letter as a page to open", "", ""},
}

// secrecies are the ways to keep letters secret.
var secrecies = []choice{{Value: string(post.StartTLS), Words: "encrypted (port 587, most servers)"},
	{Value: string(post.TLS), Words: "encrypted from the start (465)"}, {Value: string(post.Plain), Words: "not encrypted (this machine alone)"}}

// limitField is a cost or limit as its form shows it.
type limitField struct {
	fieldText
	Name  string
	Value string
	Usual bool // the owner has said nothing
}

// limitFields puts the costs and limits under headings, each once.
func limitFields(value func(desk.Limit) (text string, set bool)) (out []limitGroup) {
	for _, g := range []struct {
		heading string
		names   []string
	}{{"What you put up with", []string{"chance-limit", "line-limit", "line-carry", "line-longest", "lot-spaces", "worth"}},
		{"Overtime and Saturdays", []string{"overtime-premium", "overtime-cap", "overtime-weeks", "saturday-crew"}},
		{"Hiring", []string{"fill-weeks", "notice-weeks", "ramp-weeks", "hire-cost"}},
		{"What waiting and losing work costs", []string{"lost-cost", "wait-cost", "sent-out-cost"}}} {
		group := limitGroup{Heading: g.heading}
		for _, l := range desk.Limits() {
			if slices.Contains(g.names, l.Name) {
				text, set := value(l)
				group.Fields = append(group.Fields, limitField{limitTexts[l.Name], l.Name, text, !set})
			}
		}
		out = append(out, group)
	}
	return out
}

type limitGroup struct {
	Heading string
	Fields  []limitField
}
