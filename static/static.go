// Package static carries the style sheet, the scripts and the drawings of the
// interface. Every file is served under a name that holds a hash of its content,
// so a browser may keep it for ever and an update is seen at once.
package static

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strconv"
	"strings"
)

//go:embed files
var files embed.FS

// Prefix is the path under which Handler expects to be mounted.
const Prefix = "/static/"

type asset struct {
	body, zipped []byte
	mediaType    string
}

var (
	urls   = map[string]string{} // plain name to hashed URL
	assets = map[string]asset{}  // hashed name to content
)

func init() {
	err := fs.WalkDir(files, "files", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		body, err := files.ReadFile(p)
		if err != nil {
			return err
		}
		name := strings.TrimPrefix(p, "files/")
		sum := sha256.Sum256(body)
		ext := path.Ext(name)
		hashed := strings.TrimSuffix(name, ext) + "." + hex.EncodeToString(sum[:6]) + ext
		urls[name] = Prefix + hashed
		assets[hashed] = asset{body: body, zipped: zip(body), mediaType: mediaType(ext)}
		return nil
	})
	if err != nil {
		panic(fmt.Sprintf("static: reading the embedded files: %v", err)) // a broken build, never input
	}
}

func zip(body []byte) []byte {
	var b bytes.Buffer
	w, _ := gzip.NewWriterLevel(&b, gzip.BestCompression)
	w.Write(body) // a bytes.Buffer does not fail
	w.Close()
	return b.Bytes()
}

// mediaType does not trust the operating system's table for the types we ship.
func mediaType(ext string) string {
	switch ext {
	case ".css":
		return "text/css; charset=utf-8"
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".svg":
		return "image/svg+xml"
	case ".webmanifest":
		return "application/manifest+json"
	}
	return mime.TypeByExtension(ext)
}

// URL returns the address of a file by its plain name, such as "app.css". A name
// that does not exist is a programming error and panics, so that a test sees it.
func URL(name string) string {
	u, ok := urls[name]
	if !ok {
		panic("static: no file " + name)
	}
	return u
}

// All returns the hashed URLs of all files; a service worker keeps them.
func All() []string {
	out := make([]string, 0, len(urls))
	for _, u := range urls {
		out = append(out, u)
	}
	return out
}

// Handler serves the files under Prefix.
func Handler() http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		a, ok := assets[strings.TrimPrefix(r.URL.Path, Prefix)]
		if !ok {
			http.NotFound(w, r)
			return
		}
		h := w.Header()
		h.Set("Content-Type", a.mediaType)
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
		h.Add("Vary", "Accept-Encoding")
		body := a.body
		if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") && len(a.zipped) < len(a.body) {
			h.Set("Content-Encoding", "gzip")
			body = a.zipped
		}
		h.Set("Content-Length", strconv.Itoa(len(body)))
		if r.Method != http.MethodHead {
			w.Write(body)
		}
	})
}
