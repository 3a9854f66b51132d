package practice

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"net/url"
)

// Forward hands whole requests on to another server and whole answers back, so
// that faults can stand before it. A streaming proxy would add some of its own: it
// can lose an answer when the two connections end at different moments. Without an
// answer it gives none. It keeps the path, which must be below that of to.
func Forward(to *url.URL) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		if err != nil {
			panic(http.ErrAbortHandler)
		}
		address := *r.URL
		address.Scheme, address.Host = to.Scheme, to.Host
		// Who gives up does not take back what was sent.
		req, err := http.NewRequestWithContext(context.WithoutCancel(r.Context()), r.Method, address.String(), bytes.NewReader(body))
		if err != nil {
			panic(http.ErrAbortHandler)
		}
		req.Header, req.Host = r.Header.Clone(), r.Host // by which it names further pages
		req.Header.Del("Accept-Encoding")               // else the answer stays packed
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			panic(http.ErrAbortHandler)
		}
		answer, err := io.ReadAll(res.Body)
		_ = res.Body.Close()
		if err != nil {
			panic(http.ErrAbortHandler)
		}
		for name, values := range res.Header {
			if name != "Content-Length" && name != "Transfer-Encoding" && name != "Connection" {
				w.Header()[name] = values
			}
		}
		w.WriteHeader(res.StatusCode)
		_, _ = w.Write(answer)
	})
}
