package target

import (
	"net"
	"strings"
)

// Loopback reports whether only this machine can reach the host. An empty host
// is every interface.
func Loopback(host string) bool {
	if strings.EqualFold(host, "localhost") {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}
