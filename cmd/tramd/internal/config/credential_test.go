package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestThePasswordsHashMayBeACredential(t *testing.T) {
	h := HTTP{PasswordHash: "credential:password_hash"}
	t.Setenv("CREDENTIALS_DIRECTORY", "")
	if _, err := h.Hash(); err == nil || !strings.Contains(err.Error(), "systemctl") {
		t.Errorf("outside a service: %v", err)
	}
	dir := t.TempDir()
	t.Setenv("CREDENTIALS_DIRECTORY", dir)
	if _, err := h.Hash(); err == nil || !strings.Contains(err.Error(), "LoadCredential=") {
		t.Errorf("not handed over: %v", err)
	}
	for text, want := range map[string]string{"$2a$10$abc\n": "$2a$10$abc", "none": "", "\n": "", "plain words": "!"} {
		if err := os.WriteFile(filepath.Join(dir, "password_hash"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		got, err := h.Hash()
		if (err != nil) != (want == "!") || err == nil && got != want {
			t.Errorf("credential %q: %q, %v", text, got, err)
		}
		if err != nil && strings.Contains(err.Error(), "plain words") {
			t.Errorf("the secret is told: %v", err)
		}
	}
	if got, err := (HTTP{PasswordHash: "$2a$10$x"}).Hash(); got != "$2a$10$x" || err != nil {
		t.Errorf("written out: %q, %v", got, err)
	}
}
