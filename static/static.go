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
	"encoding/json"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"regexp"
	"slices"
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

	version    string // of all files together
	workerBody []byte
)

func init() {
	raw := map[string][]byte{}
	err := fs.WalkDir(files, "files", func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		raw[strings.TrimPrefix(p, "files/")], err = files.ReadFile(p)
		return err
	})
	if err != nil {
		panic(fmt.Sprintf("static: reading the embedded files: %v", err)) // a broken build, never input
	}
	// The bay's styles are a file of their own to read and part of the one to send: on a
	// bad line a request costs more than its bytes.
	raw["app.css"] = append(raw["app.css"], raw["bay.css"]...)
	delete(raw, "bay.css")
	for name := range raw {
		if name != worker {
			publish(raw, name)
		}
	}
	version = sum([]byte(strings.Join(All(), " ") + string(raw[worker])))
	workerBody = raw[worker]
}

// worker is the service worker's file. It is served at the root, so that the whole
// site is in its reach, and never under a hashed name.
const worker = "sw.js"

// imported finds the modules that a module imports.
var imported = regexp.MustCompile(`(?m)^(?:import|export)\b[^;]*?"\./([^"]+)"`)

// publish gives a file its hashed address. A module's imports are turned into the
// hashed addresses of what it imports first, so its own hash changes with theirs.
func publish(raw map[string][]byte, name string) string {
	if u, ok := urls[name]; ok {
		return u
	}
	urls[name] = "" // modules that import each other would never end
	body, ok := raw[name]
	if !ok {
		panic("static: no file " + name)
	}
	ext := path.Ext(name)
	if ext == ".js" {
		for _, m := range imported.FindAllSubmatch(body, -1) {
			u := publish(raw, string(m[1]))
			if u == "" {
				panic("static: modules import each other: " + name + " and " + string(m[1]))
			}
			body = bytes.Replace(body, []byte(`"./`+string(m[1])+`"`), []byte(`"`+u+`"`), 1)
		}
	}
	hashed := strings.TrimSuffix(name, ext) + "." + sum(body) + ext
	urls[name] = Prefix + hashed
	assets[hashed] = asset{body: body, zipped: zip(body), mediaType: mediaType(ext)}
	return urls[name]
}

func sum(b []byte) string {
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:6])
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
	case ".png":
		return "image/png"
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

// All returns the hashed URLs of all files in order; a service worker keeps them.
func All() []string {
	out := make([]string, 0, len(urls))
	for _, u := range urls {
		out = append(out, u)
	}
	slices.Sort(out)
	return out
}

// Version changes whenever any file does.
func Version() string { return version }

// Worker is the service worker's script with its version and the files it keeps.
func Worker() []byte {
	list, _ := json.Marshal(All()) // strings do not fail
	return fmt.Appendf(nil, "const VERSION = %q;\nconst FILES = %s;\n%s", version, list, workerBody)
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
