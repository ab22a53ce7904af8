package device

import (
	"os"
	"testing"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) {
	if os.Getenv(writerEnv) != "" {
		os.Exit(writerMain())
	}
	goleak.VerifyTestMain(m)
}
