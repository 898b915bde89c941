package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"net/http"
	"path"
	"strings"
	"sync"

	"freshet/report/html"
)

//go:embed assets/app.js assets/htmx.min.js
var own embed.FS

// asset is a file that pages load, kept zipped too.
type asset struct {
	kind          string
	plain, zipped []byte
}

// named gives a file's address: its content's hash stands in it, so that a
// browser may keep it for good.
type named struct {
	urls map[string]string // by name
	all  map[string]asset  // by the name with its hash
}

var assets = sync.OnceValue(func() named {
	n := named{map[string]string{}, map[string]asset{}}
	const script, style = "text/javascript; charset=utf-8", "text/css; charset=utf-8"
	for name, kind := range map[string]string{"style.css": style, "draw.js": script, "echarts.common.min.js": script, "app.js": script, "htmx.min.js": script} {
		b, err := own.ReadFile("assets/" + name)
		if err != nil {
			b = html.Asset(name)
		}
		var small bytes.Buffer
		z, _ := gzip.NewWriterLevel(&small, gzip.BestCompression) // the level is a known one
		z.Write(b)
		z.Close()
		sum := sha256.Sum256(b)
		ext := path.Ext(name)
		full := strings.TrimSuffix(name, ext) + "." + hex.EncodeToString(sum[:6]) + ext
		n.urls[name], n.all[full] = "/assets/"+full, asset{kind, b, small.Bytes()}
	}
	return n
})

// assetURL gives the address of a file by its name. It panics if there is none.
func assetURL(name string) string {
	u, ok := assets().urls[name]
	if !ok {
		panic("web: no asset " + name)
	}
	return u
}

func (s *Server) asset(w http.ResponseWriter, r *http.Request) error {
	a, ok := assets().all[r.PathValue("name")]
	if !ok {
		return notFound
	}
	h := w.Header()
	h.Set("Content-Type", a.kind)
	h.Set("Cache-Control", "public, max-age=31536000, immutable")
	h.Add("Vary", "Accept-Encoding")
	if zipped(r) {
		h.Set("Content-Encoding", "gzip")
		w.Write(a.zipped)
		return nil
	}
	w.Write(a.plain)
	return nil
}
