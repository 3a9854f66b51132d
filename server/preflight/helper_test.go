package preflight_test

import (
	"net/http"

	"enbloc/server/practice"
)

// withoutLabel hides that the server is for practice, as a hospital's would.
func withoutLabel(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		next.ServeHTTP(unlabelled{w}, r)
	})
}

type unlabelled struct{ http.ResponseWriter }

func (u unlabelled) WriteHeader(status int) {
	u.Header().Del(practice.Header)
	u.ResponseWriter.WriteHeader(status)
}
