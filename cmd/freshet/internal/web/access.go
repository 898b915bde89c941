package web

import (
	"cmp"
	"fmt"
	"net/http"
	"strings"
)

// setAccess keeps new passphrases, and whether other machines are served:
// only once the owner has a passphrase.
func (s *Server) setAccess(w http.ResponseWriter, r *http.Request) error {
	ctx := r.Context()
	has, _, err := s.Store.Passphrase(ctx, owner.String())
	if err != nil {
		return err
	}
	hashes := map[role]string{}
	for _, as := range []role{owner, counter} {
		p := r.PostFormValue(as.String())
		if p == "" {
			continue
		}
		if wrong := weakness(p); wrong != "" {
			return problem{http.StatusUnprocessableEntity, wrong}
		}
		if p != r.PostFormValue(as.String()+".again") {
			return problem{http.StatusUnprocessableEntity, fmt.Sprintf("The two %s passphrases differ. Type the same one twice.", as)}
		}
		if hashes[as], err = s.hash(p); err != nil {
			return err
		}
	}
	network := ""
	if r.PostFormValue("network") != "" {
		network = "yes"
	}
	if has == "" && hashes[owner] == "" && (network != "" || hashes[counter] != "") {
		return problem{http.StatusUnprocessableEntity, "Set an owner's passphrase first: else anyone on the network could change everything."}
	}
	hosts := strings.Fields(strings.ToLower(r.PostFormValue("hosts")))
	for _, h := range hosts {
		if strings.ContainsAny(h, `/:@"'<>`) || len(h) > 253 {
			return problem{http.StatusUnprocessableEntity, fmt.Sprintf("%q is no name of a machine: need one such as frontdesk or frontdesk.local.", h)}
		}
	}
	for _, as := range []role{owner, counter} {
		h, set := hashes[as]
		if !set {
			continue
		}
		if err := s.Store.SetPassphrase(ctx, as.String(), h, s.Now()); err != nil {
			return err
		}
		if as == owner { // who set it stays logged in, under a new ID
			_, set, err := s.Store.Passphrase(ctx, as.String())
			if err != nil {
				return err
			}
			if err := s.admitted(ctx, owner, set); err != nil {
				return err
			}
		}
		if err := s.note(r, "set a new passphrase for the %s", as); err != nil {
			return err
		}
	}
	names := strings.Join(hosts, " ")
	for _, x := range []struct{ name, v, did string }{
		{SettingNetwork, network, map[string]string{"yes": "let other machines on the network open the pages", "": "let this machine alone open the pages"}[network]},
		{settingHosts, names, "set other names of this machine to " + cmp.Or(names, "nothing")}} {
		have, err := s.Store.Setting(ctx, x.name, "")
		if err != nil {
			return err
		}
		if x.v == have {
			continue
		}
		if err := s.Store.Set(ctx, x.name, x.v); err != nil {
			return err
		}
		if err := s.note(r, "%s", x.did); err != nil {
			return err
		}
	}
	return s.back(w, r, "/settings", "saved")
}
