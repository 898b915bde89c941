package web

import "net/http"

// A role is what someone may do. Each holds what the ones before it may.
type role int

const (
	anyone  role = iota
	counter      // the week, jobs, quotes: nothing of costs, nothing that changes the shop
	owner
)

func (r role) String() string { return [...]string{"anyone", "counter", "owner"}[r] }

// route is one thing that can be asked for.
type route struct {
	method, path string
	least        role
	serve        func(http.ResponseWriter, *http.Request) error
	name         string // in the navigation; empty: not there
	body         int64  // bytes that may be sent, 0: the usual
	demo         bool   // a change that is allowed while the invented shop is shown
	alone        bool   // only of a shop that is none of a group: else the group has its own
}

func (r route) pattern() string {
	if r.method == "" {
		return r.path
	}
	return r.method + " " + r.path
}

// routes are all of them: what isn't here isn't served. Their order is that of
// the navigation.
func (s *Server) routes() []route {
	return []route{
		{method: "GET", path: "/{$}", least: counter, serve: s.thisWeek, name: "This week"},
		{method: "GET", path: "/outlook", least: counter, serve: s.outlook, name: "Outlook"},
		{method: "GET", path: "/watch", least: counter, serve: s.watch, name: "Watch"},
		{method: "POST", path: "/watch", least: owner, serve: s.noteAlert},
		{method: "GET", path: "/crew", least: owner, serve: s.crew, name: "Crew"},
		{method: "GET", path: "/crew/answer", least: owner, serve: s.crewAnswer},
		{method: "GET", path: "/quote", least: counter, serve: s.quote, name: "Quote"},
		{method: "GET", path: "/quote/answer", least: counter, serve: s.quoteAnswer},
		{method: "GET", path: "/quote/{id}/slip", least: counter, serve: s.slip},
		{method: "POST", path: "/quote", least: counter, serve: s.keepQuote},
		{method: "GET", path: "/jobs", least: counter, serve: s.jobs, name: "Jobs"},
		{method: "GET", path: "/jobs/line", least: owner, serve: s.jobLine},
		{method: "POST", path: "/jobs/line", least: owner, serve: s.setJobLine},
		{method: "GET", path: "/kinds", least: owner, serve: s.kinds, name: "Kinds"},
		{method: "POST", path: "/kinds", least: owner, serve: s.setKinds},
		{method: "GET", path: "/time-off", least: owner, serve: s.timeOff, name: "Time off"},
		{method: "POST", path: "/time-off", least: owner, serve: s.setTimeOff},
		{method: "POST", path: "/time-off/holiday", least: owner, serve: s.setHoliday},
		{method: "GET", path: "/time-off/person", least: owner, serve: s.person},
		{method: "POST", path: "/time-off/person", least: owner, serve: s.setPerson},
		{method: "GET", path: "/records", least: owner, serve: s.records, name: "Records"},
		{method: "POST", path: "/records/undo", least: owner, serve: s.undo},
		{method: "GET", path: "/records/{batch}/rejected.csv", least: owner, serve: s.rejected},
		{method: "POST", path: "/import", least: owner, serve: s.handIn, body: mostBytes},
		{method: "GET", path: "/import/{id}", least: owner, serve: s.mapping},
		{method: "POST", path: "/import/{id}", least: owner, serve: s.confirm},
		{method: "GET", path: "/import/{id}/progress", least: owner, serve: s.progress},
		{method: "POST", path: "/import/{id}/cancel", least: owner, serve: s.cancel},
		{method: "GET", path: "/report", least: owner, serve: s.report, name: "Report"},
		{method: "GET", path: "/weekly-report.html", least: owner, serve: s.file},
		{method: "GET", path: "/settings", least: owner, serve: s.settings, name: "Settings"},
		{method: "POST", path: "/settings/shop", least: owner, serve: s.setShop},
		{method: "POST", path: "/settings/limits", least: owner, serve: s.setLimits},
		{method: "POST", path: "/settings/mail", least: owner, serve: s.setMail},
		{method: "POST", path: "/settings/mail/test", least: owner, serve: s.testMail},
		{method: "POST", path: "/settings/folder", least: owner, serve: s.setFolder, alone: true},
		{method: "POST", path: "/letters/again", least: owner, serve: s.letterAgain},
		{method: "POST", path: "/letters/pause", least: owner, serve: s.pauseLetters},
		{method: "POST", path: "/settings/access", least: owner, serve: s.setAccess, alone: true},
		{method: "POST", path: "/demo", least: owner, serve: s.showDemo, demo: true, alone: true},
		{method: "POST", path: "/demo/leave", least: owner, serve: s.leaveDemo, demo: true, alone: true},
		{method: "GET", path: "/working", least: counter, serve: s.working},
		{method: "GET", path: "/guide", least: counter, serve: s.guide},
		{method: "GET", path: "/login", least: anyone, serve: s.loginPage, alone: true},
		{method: "POST", path: "/login", least: anyone, serve: s.login, demo: true, alone: true},
		{method: "POST", path: "/logout", least: counter, serve: s.logout, demo: true, alone: true},
		{method: "GET", path: "/healthz", least: anyone, serve: s.health, alone: true},
		{method: "GET", path: "/readyz", least: anyone, serve: s.ready, alone: true},
		{method: "GET", path: "/assets/{name}", least: anyone, serve: s.asset, alone: true},
		{path: "/", least: anyone, serve: func(http.ResponseWriter, *http.Request) error { return notFound }},
	}
}

// notFound answers for what isn't there.
var notFound = problem{http.StatusNotFound, "There is no such page."}
