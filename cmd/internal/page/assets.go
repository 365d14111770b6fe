package page

import (
	"embed"
	"io/fs"
	"path"
	"strings"
)

//go:embed assets
var embedded embed.FS

// asset is one file that is served.
type asset struct {
	kind string // media type
	body []byte
}

// mediaTypes are those of the page's parts, by suffix. The system's own table
// is not asked: it differs from one computer to the next.
var mediaTypes = map[string]string{
	".html":  "text/html; charset=utf-8",
	".css":   "text/css; charset=utf-8",
	".js":    "text/javascript; charset=utf-8",
	".svg":   "image/svg+xml",
	".png":   "image/png",
	".json":  "application/json",
	".woff2": "font/woff2",
}

// assets returns what is served by its path. A path that is not in the table
// leads nowhere, however it is written.
func assets() map[string]asset {
	out := map[string]asset{}
	err := fs.WalkDir(embedded, "assets", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		kind, known := mediaTypes[strings.ToLower(path.Ext(name))]
		if !known {
			return nil
		}
		body, err := embedded.ReadFile(name)
		out["/"+name] = asset{kind, body}
		return err
	})
	if err != nil {
		panic("page: " + err.Error()) // what is built in can be read
	}
	if index, ok := out["/assets/index.html"]; ok {
		out["/"] = index
	}
	return out
}
