/*
Freshet tells the owner of a small repair shop for recreational vehicles what
work is coming, whether the crew's hours meet it, and what to decide by when.

# Try it

A sample shop, invented, is a good start. Its files look as a shop's own export
may look:

	$ freshet demo --as-of 2026-11-23 --files sample
	sample/crew.csv
	sample/time-off.csv
	sample/events.csv
	sample/drop-offs.csv

To look at that shop in a browser, run "freshet demo" without --files. It prints
the address to open, and ends with Ctrl-C.

# Take in your files

Files are CSV, or Excel workbooks (.xlsx). A drop-offs file has a line a job, with the number of its repair order and the
day it was dropped off; the more of the other columns it has, the better:
kind, quoted_hours, clocked_hours, ready, status and so on. A crew file has a
name and weekly_hours a line, a time-off file a name, from and until ("shop" for
days on which everything is closed). Other names for columns are known in
English, German, French and Spanish; what isn't known is said with --map.

	$ freshet import sample/crew.csv sample/time-off.csv sample/events.csv sample/drop-offs.csv
	crew.csv: 4 rows of crew: 4 added, 0 updated, 0 unchanged, 0 rejected
	time-off.csv: 72 rows of time-off: 72 added, 0 updated, 0 unchanged, 0 rejected
	events.csv: 1 row of events: 1 added, 0 updated, 0 unchanged, 0 rejected
	drop-offs.csv: 7290 rows of drop-offs: 7290 added, 0 updated, 0 unchanged, 0 rejected

Every row is accounted for. Bad rows are kept with their line and reason, and
nothing is lost or doubled when a file is imported again:

	$ freshet import sample/drop-offs.csv
	drop-offs.csv: 7290 rows of drop-offs: 0 added, 0 updated, 7290 unchanged, 0 rejected

"freshet undo" takes the newest file back out, "freshet rejects --out mend.csv"
writes rejected rows to a file that can be mended and imported.

The records go into one file, in the user-data folder or where --db or
FRESHET_DB says. Give the shop its name and its time zone:

	$ freshet shop --name Quillback --zone America/Denver
	name       Quillback
	time zone  America/Denver
	open       mon tue wed thu fri
	closed on  New Year's Day, Memorial Day, Independence Day, Labor Day, Thanksgiving Day, Day after Thanksgiving, Christmas Day
	bays       0 (no limit)
	folder     none is watched: --folder DIR takes in what is dropped there
	database   shop.db
	.
	Costs and limits behind the advice (usual: common practice, no source):
	chance-limit             20  usual  percent: the chance to be short of hours, or of too long a line, that you put up with
	lot-spaces                0  usual  rigs that fit on your lot and in your bays (0: not a limit)
	line-limit                2  usual  weeks of work that the line shouldn't pass
	line-carry              0.5  usual  weeks of work in line that are fine with you
	worth                     8  usual  hours on jobs from which advice is worth a word
	overtime-premium        1.5  usual  times the regular wage that an hour of overtime costs
	overtime-cap             50  usual  hours a week of one technician at most, overtime included
	overtime-weeks            3  usual  weeks of overtime on end at most
	saturday-crew            50  usual  percent of the crew that works an opened Saturday
	lost-cost                 0  usual  dollars that an hour of work lost to another shop costs you (0: not known)
	wait-cost                 0  usual  dollars that an hour of work in line costs you a week (0: not known)
	line-longest              3  usual  weeks of work in line beyond which work goes elsewhere
	hire-cost                 0  usual  dollars to find and settle in one technician, wages apart
	fill-weeks                8  usual  weeks to fill a post
	notice-weeks              2  usual  weeks of notice that a new technician gives elsewhere
	ramp-weeks                4  usual  weeks until a new technician works at full speed
	sent-out-cost             0  usual  dollars an hour of work sent to another shop (0: not known)

# Ask

What is going to come in? The range is one into which 8 weeks in 10 fall.

	$ freshet outlook --as-of 2026-11-23 --weeks 3
	     week of  drop-offs  8 in 10 weeks  hours of work  8 in 10 weeks
	  2026-11-23         10        5 to 16           53 h       22 to 91
	  2026-11-30         11        6 to 17           59 h       26 to 97
	  2026-12-07         12        6 to 18           64 h      28 to 106
	.
	In all 3 weeks, by job kind:
	                     kind  drop-offs  hours of work
	               appliances        5.2           23 h
	                  cooling        2.3           10 h
	               electrical        7.1           33 h
	                 exterior        5.5           40 h
	                 plumbing        4.5           18 h
	             running gear        3.7           21 h
	         seasonal service        0.9            2 h
	  slide-outs and leveling        4.3           29 h
	.
	Drop-offs: counts with a season of 6 harmonics that comes early or late, and a moving level was chosen: the smallest error of 4 models on this history. Hours: each drop-off takes the hours of a job of its kind, from clocked hours of finished jobs.

Do the crew's hours meet it?

	$ freshet crew --as-of 2026-11-23 --weeks 3 --add-tech 1@2027-03-01
	What if: 1 technician more from March 1, 2027. Each column shows now → then.
	.
	     week of  crew has  work expected  8 in 10 weeks  chance short  waiting at the end  days until ready
	  2026-11-23      80 h           53 h       22 to 91          16 %                63 h                 2
	  2026-11-30     134 h           59 h       26 to 97           1 %                 9 h                 1
	  2026-12-07     134 h           64 h      28 to 106           2 %                 7 h                 1
	.
	Besides, about 28 h wait for parts or approval at the end of this week.
	Emergencies: 1.9 a week; leave 17 h a week free of promises, enough in 80 weeks of 100. Release what is left on Thursday.
	The advice looks 40 weeks ahead, further than the 3 above, as a hire takes that long.
	.
	By Monday, December 14: Time off of Ansel from January 11 to January 15 can be granted.
	  With Ansel off the chance of too few hours in the week of January 11 is 16 %, against 4 % with everybody in: the crew can spare the time now, while a busier week may be asked for if nothing is said.
	  With the season 21 days later, 15 % less work or 15 % more work it stands; with 1 technician fewer from December 7, 2026 it is better refused.
	.
	By Monday, December 21: Time off of Brika from January 18 to January 22 can be granted.
	  With Brika off the chance of too few hours in the week of January 18 is 14 %, against 3 % with everybody in: the crew can spare the time now, while a busier week may be asked for if nothing is said.
	  With the season 21 days later or 15 % less work it stands; with 15 % more work or 1 technician fewer from December 7, 2026 it is better refused.
	.
	By Monday, December 28: Say no to Corin's time off from January 25 to January 29, or move it.
	  With Corin off the chance of too few hours in the week of January 25 is 22 %, against 5 % with everybody in: offer January 4 to 24 or February 1 to 21 instead, or plan overtime; if it is approved all the same, 5 h are missing in that week on average.
	  With the season 21 days later or 15 % less work it can be granted; with 15 % more work or 1 technician fewer from December 7, 2026 it stands.
	.
	By Monday, January 4, 2027: Time off of Dessa from February 1 to February 5 can be granted.
	  With Dessa off the chance of too few hours in the week of February 1 is 15 %, against 4 % with everybody in: the crew can spare the time now, while a busier week may be asked for if nothing is said.
	  With the season 21 days later or 15 % less work it stands; with 15 % more work or 1 technician fewer from December 7, 2026 it is better refused.
	.
	By Monday, February 1, 2027: Weeks that can spare someone: March 1 to March 21.
	  From March 1 to 21 one technician can be spared, with a chance of too few hours of 20 % or less, while time off is asked for in busier weeks if nothing is said.
	  With the season 21 days later or 15 % less work it stands; with 15 % more work or 1 technician fewer from December 7, 2026 it is better refused.
	.
	By Monday, April 19, 2027: Say no to Corin's time off from May 17 to May 21, or move it.
	  With Corin off the chance of too few hours in the week of May 17 is 43 %, against 19 % with everybody in: offer March 1 to 21 or August 9 to 29 instead, or plan overtime; if it is approved all the same, 16 h are missing in that week on average.
	  With the season 21 days later, 15 % less work, 15 % more work or 1 technician fewer from December 7, 2026 it stands.
	.
	Caution: These hours and days are estimates from your own records: no promise to a customer, of a manufacturer or of law.

What doesn't fit, and how odd is it? Each week is held against what was known on
its Monday; alerts are few on purpose, the most unlikely first. Each has a name:

	$ freshet watch --as-of 2026-08-31
	Kind (cooling), since 2026-08-03 [kind-cooling-2026-08-03]
	  The 4 weeks from August 3 brought 80 drop-offs of cooling where about 19 were expected: by chance less than once in 20 years. If it goes on, the work is about 67 hours a week more than expected. Look for a common cause, and at the parts that such jobs need.
	Run, since 2026-08-03 [run-2026-08-03]
	  The 4 weeks from August 3 brought 151 drop-offs where about 66 were expected: by chance less than once in 20 years. It is mostly cooling (+61). If it goes on, the work is about 103 hours a week more than expected. Whether it is a rush that ends, work that comes later than usual, or a new level, the next weeks will tell. Look at the crew's plan for the coming weeks.
	.
	The 2026 season: late. It runs 14 days late (8 chances in 10: 7 days late to 22 days late), at 91 % of its usual strength (78 to 104 %). Chance that it is late by a week or more: 91 %, weak by a tenth or more: 47 %.
	.
	     week of  drop-offs  expected  8 in 10 weeks           so far out  verdict
	  2026-03-02          8        15        8 to 22               1 in 9    usual
	  2026-03-09         23        15        8 to 22              1 in 11    usual
	  2026-03-16          9        20       12 to 29              1 in 27    usual
	  2026-03-23         22        20       12 to 29               1 in 3    usual
	  2026-03-30         31        24       15 to 34               1 in 5    usual
	  2026-04-06         28        29       19 to 41               1 in 2    usual
	  2026-04-13         21        31       20 to 43               1 in 7    usual
	  2026-04-20         33        29       19 to 41               1 in 3    usual
	  2026-04-27         29        30       19 to 42               1 in 2    usual
	  2026-05-04         12        29       19 to 40              1 in 92    usual
	  2026-05-11         19        24       15 to 34               1 in 4    usual
	  2026-05-18         23        23       15 to 32               1 in 2    usual
	  2026-05-25         17        21       13 to 30               1 in 3    usual
	  2026-06-01         14        22       14 to 31               1 in 8    usual
	  2026-06-08         13        21       13 to 29               1 in 8    usual
	  2026-06-15         21        20       12 to 28               1 in 2    usual
	  2026-06-22         22        20       13 to 29               1 in 3    usual
	  2026-06-29         33        19       12 to 28              1 in 34    usual
	  2026-07-06         37        23       15 to 33              1 in 23    usual
	  2026-07-13         29        25       16 to 35               1 in 3    usual
	  2026-07-20         25        24       15 to 34               1 in 2    usual
	  2026-07-27         20        22       14 to 31               1 in 2    usual
	  2026-08-03         54        19       12 to 28  1 in 10,000 or less     busy
	  2026-08-10         32        21       13 to 30              1 in 13    usual
	  2026-08-17         27        19       11 to 27               1 in 8    usual
	  2026-08-24         38        18       11 to 26             1 in 313     busy

What you know of one is kept under its name, from the day on which you say it:
"--seen NAME" keeps the letter quiet about it, "--explain NAME --because
'a storm'" shows it as explained, with "--one-time" its weeks don't bend next
year's season, and "--take-back NAME" takes the last of these back. Where more or
fewer come week after week and nobody has said that it won't last, the outlook
follows the newest weeks more closely, and says so. What the reports kept within the
last year told and stands no more is listed too, with the weeks whose reports told it.

What day to tell this customer? The queue for the job is followed through many
possible futures and held against what quotes of the past year would have missed
by, so that 8 in 10 means 8 in 10:

	$ freshet quote --as-of 2026-11-23 --kind cooling --hours 4
	cooling, 4 hours, dropped off Monday, November 23
	.
	  ready with a chance of 5 in 10  by Tuesday, November 24
	  ready with a chance of 8 in 10  by Thursday, December 3
	  ready with a chance of 9 in 10   by Tuesday, December 8
	.
	Say: We expect to have it ready by Thursday, December 3; in 8 cases out of 10 it is. Most of that time is for parts that may have to be ordered. It may well be ready by Tuesday, November 24.
	.
	Best day to bring it in: today. On a later day it would be ready later: a part that it needs is ordered once it has been seen.
	Only Ansel and Brika do this work: 3 jobs, about 23 h, are ahead of it, which others can do too.
	Of the other jobs in the shop 8 wait for a part or a word and go ahead of it once that has come, 23 stand behind it.
	Most of the days to the 8 in 10 date are a wait for a part: about 35 in 100 such jobs need one, and half of those wait 10 days or longer. Ask again once it is known whether it needs one.
	The 212 jobs of this kind that were finished within a year: 1 in 10 took 2 days or less, half 23 days or less, 8 in 10 31 days or less.
	.
	The 10 days from drop-off to the 8 in 10 date:
	                      the work itself  0.5
	                 waiting for its part  8.7
	  closed days after its part is there  0.7
	         work found once it is opened  0.1
	.
	Such a date was tried on 291 jobs of the past year, of all kinds: 80 % were ready by it. 67 of them were cooling: 81 %.
	Caution: These hours and days are estimates from your own records: no promise to a customer, of a manufacturer or of law.

The whole report, as one page that opens anywhere and prints:

	$ freshet report --as-of 2026-11-23 --out report.html
	Expect about 10 drop-offs this week (8 times out of 10, 5 to 16), which bring about 53 hours of work.
	The last four weeks brought 84 drop-offs, 37 % more than this time of year usually brings (61).
	The crew's hours should meet the work for the next 13 weeks; the tightest is the week of January 25, with a chance of 22 % that more work comes in than the crew has hours.
	Decide by February 8: look for one more technician, at full speed by May 17.
	.
	The report is in report.html

The same report comes by mail each week, as a letter that reads well on a phone,
once it is said where it goes and by which mail server. Letters are kept in an
outbox and go out once; this command shows what became of each:

	$ freshet mail --to owner@quillback.example --from shop@quillback.example --host smtp.quillback.example
	to             owner@quillback.example
	counter
	from           shop@quillback.example
	host           smtp.quillback.example
	port           587
	security       starttls
	user
	password-file
	attach         yes
	schedule       0 6 * * 1 (Mondays at 06:00)
	.
	No letter was sent yet.

How good would such outlooks have been? Each past week is forecast with only
what was known then:

	$ freshet score --as-of 2026-11-23 --weeks 4 --origins 8
	                     what  weeks ahead  forecasts  error, share of the whole  same week last year  error against it  80 % range held
	                drop-offs          all          8                       21 %                 39 %              56 %             94 %
	                                     1                                  26 %                                   60 %             88 %
	                                     4                                   8 %                                   38 %            100 %
	                    hours          all          7                       32 %                 48 %              66 %             86 %
	                                     1                                  43 %                                   89 %             71 %
	                                     4                                  12 %                                   39 %            100 %
	               appliances          all          8                       55 %                 64 %              87 %             97 %
	                  cooling          all          8                       78 %                106 %              73 %             94 %
	               electrical          all          8                       45 %                 62 %              72 %             88 %
	                 exterior          all          8                       76 %                 73 %             104 %             94 %
	                 plumbing          all          8                       47 %                 64 %              73 %            100 %
	             running gear          all          8                       63 %                 81 %              78 %            100 %
	         seasonal service          all          8                       33 %                 64 %              52 %            100 %
	  slide-outs and leveling          all          8                       48 %                 90 %              53 %            100 %
	.
	Quotes for 1914 finished jobs: of dates for 5, 8 and 9 in 10, 58, 82 and 91 % would have been kept. The 8 in 10 took 12.7 days in the mean;
	at the same kept rate:
	                                                a fixed week  17.0 days
	                      80 % quantile of the last year's stays  17.9 days
	  hours ahead over the crew's hours, and what that missed by  16.7 days
	.
	The watch over 104 weeks: 7 alerts, of which 2.5 a year stood no more four weeks later.

--as-of pretends that a day begins now: nothing that came later counts, so that
an old question has its old answer. Every answer can be had as JSON:

	$ freshet import sample/crew.csv --json
	{"schema":1,"files":[{"file":"crew.csv","kind":"crew","rows":4,"added":0,"updated":0,"unchanged":4,"warned":0,"rejected":0,"rejects":[],"ignored_columns":null}]}

The exit status is 0 when done, 1 when it could not be done, and 2 when the call
itself was wrong.

# Live with it

"freshet serve" serves the shop's pages on this machine and makes the weekly
report anew on Mondays at six, and when records came in.

It also makes a checked backup once a day beside the database, and keeps those of
seven days and four weeks.

"freshet shop --folder DIR" names a folder into which the shop's exports are
saved: "freshet serve" takes in each new file there by itself, once, and leaves
those that it can't make out, which the letter and the page Records then say.

"freshet report --again 2026-W48 --out FILE" makes the report of a past week
again as it was, whatever has come in since.

"freshet kinds" lists the words that your files use for kinds of jobs, "freshet
kinds suggest" says which may mean one thing, and merge, rename, split and undo
group them. "freshet import --preview FILE" shows what would be made of a file.

"freshet backup FILE" makes a copy and checks it, "freshet restore FILE" goes
back to one, "freshet check" looks over records and settings, and "freshet export
FOLDER" writes everything as CSV.

# Other numbers

"freshet series FILE" forecasts plain series, a line each of an id and its
values, oldest first, without a shop: "freshet help series" lists the models.
*/
package main

import (
	"context"
	"os"
	"time"
	_ "time/tzdata" // a PC may lack the time zones
)

func main() {
	os.Exit(run(context.Background(), os.Args[1:], os.Stdout, os.Stderr, time.Now))
}
