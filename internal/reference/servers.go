package reference

import (
	"errors"
	"fmt"
	"net/netip"
	"strconv"
	"strings"
)

// ErrServers marks text that is no list of servers.
var ErrServers = errors.New("not a list of time servers")

// mostServers is more than anyone needs and a burden to none.
const mostServers = 16

// DefaultServers returns public servers of national laboratories that keep
// UTC, each in another house, so that one liar is outvoted: PTB Braunschweig,
// NPL Teddington, NIST (any of its sites), NRC Ottawa, NICT Tokyo. The names
// are those the laboratories publish, seen in public lists of time servers in
// 2026. None of them smears leap seconds (from memory).
func DefaultServers() []string {
	return []string{"ptbtime1.ptb.de", "ntp1.npl.co.uk", "time.nist.gov", "time.nrc.ca", "ntp.nict.jp"}
}

// ParseServers returns the servers of a list parted by commas or spaces, each a
// host, a host:port, or an address of IPv4 or IPv6; with a port, IPv6 stands in
// brackets. The one word none stands for no servers. The error wraps
// ErrServers.
func ParseServers(text string) ([]string, error) {
	words := strings.FieldsFunc(text, func(r rune) bool { return r == ',' || r == ' ' || r == '\t' || r == '\n' || r == '\r' })
	bad := func(format string, args ...any) ([]string, error) {
		return nil, fmt.Errorf("%w: "+format, append([]any{ErrServers}, args...)...)
	}
	if len(words) == 0 {
		return bad("it is empty; write host names parted by commas, or none for no servers")
	}
	if len(words) == 1 && strings.EqualFold(words[0], "none") {
		return nil, nil
	}
	if len(words) > mostServers {
		return bad("it names %d servers, and %d are enough for anyone", len(words), mostServers)
	}
	servers := make([]string, 0, len(words))
	for _, w := range words {
		if strings.EqualFold(w, "none") {
			return bad("none stands for no servers and cannot stand among others")
		}
		name := strings.ToLower(w)
		if err := checkServer(name); err != nil {
			return bad("%.60q %w", w, err)
		}
		for _, s := range servers {
			if s == name {
				return bad("%s stands there twice, and a server cannot confirm itself", name)
			}
		}
		servers = append(servers, name)
	}
	return servers, nil
}

// checkServer returns why a word is no server; the error continues "… is".
func checkServer(name string) error {
	if _, err := netip.ParseAddr(name); err == nil {
		return nil
	}
	host, port := name, ""
	if inside, rest, ok := strings.Cut(strings.TrimPrefix(name, "["), "]"); ok && strings.HasPrefix(name, "[") {
		if a, err := netip.ParseAddr(inside); err != nil || !a.Is6() {
			return errors.New("has no IPv6 address in its brackets")
		}
		if rest == "" {
			return nil
		}
		if !strings.HasPrefix(rest, ":") {
			return errors.New("has something other than a port after its brackets")
		}
		return checkPort(rest[1:])
	}
	if i := strings.LastIndexByte(name, ':'); i >= 0 {
		host, port = name[:i], name[i+1:]
		if err := checkPort(port); err != nil {
			return err
		}
	}
	return checkHost(host)
}

func checkPort(port string) error {
	n, err := strconv.ParseUint(port, 10, 16)
	if err != nil || n == 0 {
		return errors.New("has a port that is not a number from 1 to 65535")
	}
	return nil
}

// checkHost applies the rules of host names (RFC 1123, 2.1).
func checkHost(host string) error {
	if len(host) > 253 {
		return errors.New("is longer than a host name can be")
	}
	labels := strings.Split(strings.TrimSuffix(host, "."), ".")
	for _, l := range labels {
		if l == "" || len(l) > 63 || strings.HasPrefix(l, "-") || strings.HasSuffix(l, "-") {
			return errors.New("is not a host name or an address")
		}
		for _, c := range l {
			if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
				return errors.New("is not a host name or an address")
			}
		}
	}
	if last := labels[len(labels)-1]; strings.Trim(last, "0123456789") == "" {
		// What ends in a number is an address, and it is not a good one.
		if _, err := netip.ParseAddr(host); err != nil {
			return errors.New("looks like an address and is not one")
		}
	}
	return nil
}
