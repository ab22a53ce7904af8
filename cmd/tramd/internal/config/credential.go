package config

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"tramd/cmd/tramd/internal/smallfile"
)

// credentialScheme marks a value that is not written here but in a file which the service manager hands to the daemon
// alone (systemd.exec(5), LoadCredential=).
const credentialScheme = "credential:"

// noCredential is what stands in a credential that was not given: the manager hands over no empty ones by default.
const noCredential = "none"

var credentialForm = regexp.MustCompile(`^credential:[A-Za-z0-9][A-Za-z0-9_.-]{0,63}$`)

func (v *validator) passwordHash(hash string) {
	switch {
	case hash == "" || strings.HasPrefix(hash, "$2"):
	case !strings.HasPrefix(hash, credentialScheme):
		v.bad("http.password_hash", "is not a bcrypt hash; make one with `tramd password`")
	case !credentialForm.MatchString(hash):
		v.bad("http.password_hash",
			"%q names no credential; write \"credential:password_hash\", as the packaged unit calls it", hash)
	}
}

// Hash gives the hash of the page's password; empty means that nothing can be changed over the network. A credential is
// looked up only now: the commands that read the same configuration are no services and are handed none.
func (h HTTP) Hash() (string, error) {
	hash, handed, err := secret("http.password_hash", h.PasswordHash)
	if err != nil || !handed {
		return hash, err
	}
	switch {
	case hash == noCredential || hash == "":
		return "", nil
	case !strings.HasPrefix(hash, "$2"):
		return "",
			fmt.Errorf(
				"http.password_hash: the credential holds no bcrypt hash; make its file with `tramd password --bare`")
	}
	return hash, nil
}

// secret returns what a setting stands for: itself, or what was handed over under the name of a credential.
func secret(key, value string) (text string, handed bool, err error) {
	if !strings.HasPrefix(value, credentialScheme) {
		return value, false, nil
	}
	path, err := credentialFile(value)
	if err != nil {
		return "", true, fmt.Errorf("%s: %w", key, err)
	}
	content, err := smallfile.Read(path)
	if err != nil {
		return "", true, fmt.Errorf("%s: %w; name the credential in the unit (LoadCredential=)", key, err)
	}
	return strings.TrimSpace(string(content)), true, nil
}

func credentialFile(value string) (string, error) {
	dir := os.Getenv("CREDENTIALS_DIRECTORY")
	if dir == "" {
		return "",
			fmt.Errorf(
				"%q is handed over by the service manager; start the daemon by systemctl, or write the value itself",
				value)
	}
	return filepath.Join(dir, strings.TrimPrefix(value, credentialScheme)), nil
}
