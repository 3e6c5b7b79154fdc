package doctor

import (
	"crypto/tls"
	"fmt"
	"time"

	"witnessmark/cmd/witnessmark/internal/daemon"
)

// renewWithin is when a certificate is due to be renewed.
const renewWithin = 30 * 24 * time.Hour

// certificate looks whether browsers will trust the pages for long.
func (b *Box) certificate() Finding {
	f := Finding{Check: "certificate", State: OK}
	switch {
	case b.Config.Certificate != "":
		return b.expiry(f)
	case daemon.Loopback(b.Config.Listen):
		f.Found = "none is needed: the pages are served on this computer only"
	case b.Config.PlainHTTP:
		f.State, f.Found = Look, "there is none: passwords may be read on the network, as the configuration accepts"
		f.Do = "give certificate and key under tls in the configuration"
	default:
		f.State, f.Found = NotOK, fmt.Sprintf("there is none, and the pages would go over the network at %s", b.Config.Listen)
		f.Do = "give certificate and key under tls in the configuration, or listen on 127.0.0.1"
	}
	return f
}

func (b *Box) expiry(f Finding) Finding {
	pair, err := tls.LoadX509KeyPair(b.Config.Certificate, b.Config.Key)
	if err != nil {
		f.State, f.Found = NotOK, err.Error()
		f.Do = "correct certificate and key under tls in the configuration"
		return f
	}
	end := pair.Leaf.NotAfter
	f.Found = fmt.Sprintf("%s holds until %s", b.Config.Certificate, end.Format(time.DateOnly))
	switch left := end.Sub(b.Clock()); {
	case left <= 0:
		f.State, f.Do = NotOK, "renew it and start the daemon again: browsers refuse it"
	case left < renewWithin:
		f.State, f.Do = Look, "renew it and start the daemon again"
	}
	return f
}
