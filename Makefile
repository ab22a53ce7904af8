# Everything a person needs: make demo, make test. The rest is for those who work on tramd.
GO       ?= go
# Known holes in the standard library are closed there. The go command fetches it by itself; where it cannot, Go as installed.
CLOSED   := go1.26.11
ifeq ($(shell GOTOOLCHAIN=$(CLOSED) $(GO) version >/dev/null 2>&1 && echo fetched),fetched)
export GOTOOLCHAIN := $(CLOSED)
endif
# Without HTTP/2: a page holds one stream and lets it go when hidden, and it is half a megabyte that strangers could reach.
TAGS     := sqlite_omit_load_extension osusergo netgo nethttpomithttp2
VERSION  ?= $(shell git describe --tags --always --dirty 2>/dev/null || echo dev)
LDFLAGS  := -s -w -X main.version=$(VERSION)
# A small computer holds the program for years: what is not in the way of a reading is compiled without inlining, and
# SQLite for size. It is 2 MB less; systemd/deb/test.sh holds it to 20 million bytes. Nothing that SQLite's package imports is
# among them (net/url, crypto), or SQLite would be compiled once more for the tests.
TERSE    := google.golang.org/protobuf/... github.com/wneessen/... golang.org/x/... github.com/alecthomas/... \
            github.com/pelletier/... github.com/eclipse/... github.com/gorilla/... github.com/prometheus/... \
            gonum.org/v1/gonum/blas/... gonum.org/v1/gonum/lapack/... mime/... image/... go/... os/exec os/signal expvar encoding/csv gonum.org/v1/gonum/mathext/... vendor/... crypto/tls crypto/x509 \
            crypto/internal/fips140/nistec/... net net/http/... net/mail net/smtp net/textproto html/... text/... encoding/asn1 encoding/json math/big log/slog regexp/... tramd/cmd/tramd \
            $(addprefix tramd/cmd/tramd/internal/,alarm api archive assembly catalogue certs client clock config daemon display doctor \
                history hours ical identify inputs interlock jobsheet largepages maintenance manual memtrim metrics motion mqtt notify peerlimit picture qrcode report runs schedule service setup sim smallfile temperature tui unattended watchdog web) \
            $(addprefix tramd/sweep/,advice bar charts finish line stack travel traverse zone) tramd/device/portlist github.com/beorn7/... rsc.io/... tramd/store tramd/sweep/units tramd/device/input tramd/device/capture tramd/device/serialport $(addprefix tramd/cmd/tramd/internal/,largepages memtrim slack) github.com/mattn/... go.bug.st/... github.com/creack/... github.com/cespare/... github.com/munnerz/... database/sql/... net/url net/netip encoding/pem path/filepath os/user
# Fortified (_FORTIFY_SOURCE, glibc): SQLite's copies into buffers of known size are checked as they run.
export CGO_CFLAGS := -Os -g0 -ffunction-sections -fdata-sections -D_FORTIFY_SOURCE=2
BUILD    := $(GO) build -tags "$(TAGS)" -trimpath -buildvcs=false $(TERSE:%=-gcflags=%=-l) \
            -ldflags "$(LDFLAGS) -extldflags=-Wl,--gc-sections,-z,relro,-z,now"

TEST     := $(GO) test -trimpath -tags "$(TAGS)" -timeout 30m
PACKAGES := $(GO) list -tags "$(TAGS)" ./...
SUMS     := ^tramd/sweep(/|$$)
SPREAD   := ^tramd/(cmd/tramd|cmd/tramd/internal/web|dashboards)$$

.PHONY: demo demo-shop test test-of-time test-of-sums bench bench-arm64 delay live torture study lint build cross emulated deb deb-test boot-test session-test container-test deps deps-test fuzz screenshots screenshots-check texts readability clean

demo: build
	./bin/tramd demo

# The demo with a Prometheus and an Alertmanager beside it, as a shop with many machines has them; alerts are printed as they arrive.
demo-shop: build
	@./cmd/tramd/need.sh prometheus:prometheus prometheus-alertmanager:prometheus-alertmanager
	@$(GO) build -trimpath -o bin/shop ./dashboards/shop
	@trap 'kill %1 2>/dev/null; wait' EXIT INT TERM; ./bin/tramd demo & ./bin/shop

# Two lanes side by side, all compiled first. One is what keeps time with ports, a browser and processes of its own: it waits
# more than it works, one package after the other. The other only reckons, with what the first leaves of the processors.
# The race detector watches every package with goroutines; what the tests start as a process of its own it would only slow down.
test: deps-test
	@$(TEST) -race -run '^$$' $$($(PACKAGES) | grep -Ev '$(SUMS)|$(SPREAD)') >/dev/null
	@$(TEST) -run '^$$' $$($(PACKAGES) | grep -E '$(SUMS)|$(SPREAD)') >/dev/null
	@$(MAKE) --no-print-directory -j2 -Oline test-of-time test-of-sums

# A test that keeps time can fail because the computer is busy with something else. So the few that fail run again, alone, up
# to twice, and the output names them; what fails alone twice fails. More than eight failures (a subtest's parent counts as
# well) are no accident.
AGAIN    := $(GO) run gotest.tools/gotestsum@v1.13.0 --format pkgname --rerun-fails=2 --rerun-fails-max-failures=8 --rerun-fails-run-root-test
TIMED    := -trimpath -tags "$(TAGS)" -timeout 30m -p 1

test-of-time:
	$(AGAIN) --packages "$$($(PACKAGES) | grep -E '$(SPREAD)' | tr '\n' ' ')" -- $(TIMED) -parallel 4
	$(AGAIN) --packages "$$($(PACKAGES) | grep -Ev '$(SUMS)|$(SPREAD)|^tramd/store' | tr '\n' ' ')" -- $(TIMED) -race

test-of-sums:
	chrt --idle 0 $(TEST) $$($(PACKAGES) | grep -E '$(SUMS)')
	chrt --idle 0 $(TEST) -race ./store/...

# Written once more in small pieces, as a package manager does: Linux (6.18 seen) keeps a file in pieces as large as those it was
# written in, and counts a whole piece as memory of the program that touches a byte of it.
build: deps
	@test -e bin/tramd || echo "Building tramd. The first build compiles SQLite and takes some minutes; later ones take seconds."
	$(BUILD) -o bin/tramd.linked ./cmd/tramd
	@dd if=bin/tramd.linked of=bin/tramd.new bs=32k status=none && chmod 755 bin/tramd.new
	@mv bin/tramd.new bin/tramd && rm bin/tramd.linked

# What a fresh Debian machine lacks: installed as root, named to everybody else.
deps:
	@./cmd/tramd/need.sh cc:gcc go:golang-go

deps-test: deps
	@./cmd/tramd/need.sh chromium:chromium python3:python3 prometheus:prometheus amtool:prometheus-alertmanager systemd-analyze:systemd kill:procps chrt:util-linux mandoc:mandoc zsh:zsh fish:fish mosquitto:mosquitto mosquitto_sub:mosquitto-clients chronyd:chrony

# What it costs, beside what a practitioner's own scripts cost, in one run.
bench: build
	@./cmd/tramd/need.sh python3:python3 python3-numpy:python3-numpy python3-serial:python3-serial
	$(GO) test -tags "$(TAGS)" -run '^$$' -bench . -benchmem ./sweep/... ./device/... ./store/... ./cmd/...
	./testdata/peer/compare.sh

# What a fit of a sweep costs on an arm64 that qemu plays, beside the same on this machine: processor time, cpu-ns/op.
bench-arm64:
	@./cmd/tramd/need.sh qemu-aarch64-static:qemu-user-static
	mkdir -p dist
	GOOS=linux GOARCH=arm64 CGO_ENABLED=0 $(GO) test -c -trimpath -o dist/mixed-arm64.test ./sweep/mixed
	CGO_ENABLED=0 $(GO) test -c -trimpath -o dist/mixed.test ./sweep/mixed
	for turn in 1 2 3; do \
	    dist/mixed.test -test.run '^$$' -test.bench '^BenchmarkFit$$/^full$$/^2000$$' -test.benchtime 20x || exit 1; \
	    qemu-aarch64-static dist/mixed-arm64.test -test.run '^$$' -test.bench '^BenchmarkFit$$/^full$$/^2000$$' -test.benchtime 20x || exit 1; \
	done

# How long after its last byte each kind of frame has its point: a table, in three minutes.
delay:
	$(GO) test -tags "$(TAGS)" -run '^$$' -bench '^BenchmarkTagged$$' -benchtime 1x ./cmd/tramd/internal/session

# How old, and how right, the lean is that a page shows while the arm turns, by the daemon's share of the processor: a table.
# As root, with control groups.
LIVE     ?= --sweeps 10
live: build
	@./cmd/tramd/need.sh python3:python3 python3-serial:python3-serial qemu-aarch64-static:qemu-user-static aarch64-linux-gnu-gcc:gcc-aarch64-linux-gnu,libc6-dev-arm64-cross
	GOOS=linux GOARCH=arm64 CGO_ENABLED=1 CC=aarch64-linux-gnu-gcc $(BUILD) -o dist/tramd-arm64 ./cmd/tramd
	./testdata/peer/live_age.py --tramd bin/tramd --arm64 dist/tramd-arm64 $(LIVE)

# Kills, unplugs, garbage, crowds, a full disk, a soak (SOAK=49m is worth a day of watching); writes what came of them.
SOAK     ?= 3m
torture: deps-test
	$(GO) test -tags "$(TAGS)" -count=1 -timeout 2h -run '^TestTorture$$' ./cmd/tramd -args -torture -torture.soak $(SOAK) -torture.out $(CURDIR)/cmd/tramd/torture.md
	$(GO) test -tags "$(TAGS)" -count=1 -timeout 40m -run '^(TestKilledWhileWriting|TestThePowerIsCut|TestRandomCorruptions)$$' -v ./store -args -torture
	$(GO) test -tags "$(TAGS)" -count=1 -run 'DiskThatFillsUp|DamagedRecord' ./cmd/tramd
	$(GO) test -tags "$(TAGS)" -count=1 -run 'Full|NothingMayBeWritten|Spoiled|CutShort|BegunAgain|Dated|Backup' ./store
	$(GO) test -tags "$(TAGS)" -count=1 ./cmd/tramd/internal/clock ./cmd/tramd/internal/schedule ./cmd/tramd/internal/unattended

# The README's pictures, taken from the demo by a real browser; and whether they show today's page.
screenshots: texts build
	@./cmd/tramd/need.sh chromium:chromium
	TAGS="$(TAGS)" ./cmd/tramd/docs/pictures/make.sh

screenshots-check:
	@./cmd/tramd/docs/pictures/make.sh --check

# Takes the sentences of the source into the catalogue that translations are made from, and packs the description of the API;
# tests say when it is time.
texts:
	$(TEST) ./cmd/tramd/internal/catalogue -run TestTheCatalogueHoldsEverySentence -update
	$(TEST) ./cmd/tramd/internal/web -run TestTheDescriptionIsPacked -update

# How easily the README and the documentation read.
readability:
	@./cmd/tramd/need.sh python3:python3
	@./cmd/tramd/docs/readability.py README.md dashboards/README.md device/frame/frames.md $(wildcard cmd/tramd/docs/*.md)

# The long studies: does the stated uncertainty hold, how many adjustments does the advice take. They write their tables.
study:
	$(GO) test -tags "$(TAGS)" -run '^TestStudy$$' -study -study.out $(CURDIR)/sweep/mixed/study.md -timeout 2h -v ./sweep/mixed
	$(GO) test -tags "$(TAGS)" -run TestStudyLive -study -study.runs 40 -study.live.out $(CURDIR)/sweep/mixed/study_live.md -timeout 4h -v ./sweep/mixed
	$(GO) test -tags "$(TAGS)" -run TestStudy -study -study.out $(CURDIR)/sweep/advice/study.md -timeout 2h -v ./sweep/advice
	$(GO) test -tags "$(TAGS)" -run TestStudy -study -study.out $(CURDIR)/sweep/drift/study.md -timeout 2h -v ./sweep/drift

# Looked at as it is built (-trimpath), or SQLite is compiled once more for each look.
lint:
	@test -z "$$(gofmt -l .)" || { gofmt -l .; echo "run gofmt -w on these"; exit 1; }
	$(GO) vet -trimpath -tags "$(TAGS)" ./...
	GOFLAGS=-trimpath $(GO) run honnef.co/go/tools/cmd/staticcheck@v0.8.2 -tags "$(TAGS)" ./...
	./cmd/tramd/vulncheck.sh
	@test -z "$$(git status --porcelain)" || { git status --porcelain; echo "the tree is not clean"; exit 1; }

# ARMv7 and arm64: the small computers of a shop. The one of 32 bits is looked at too.
cross:
	@./cmd/tramd/need.sh aarch64-linux-gnu-gcc:gcc-aarch64-linux-gnu,libc6-dev-arm64-cross arm-linux-gnueabihf-gcc:gcc-arm-linux-gnueabihf,libc6-dev-armhf-cross
	GOOS=linux GOARCH=arm64 CGO_ENABLED=1 CC=aarch64-linux-gnu-gcc $(BUILD) -o dist/tramd-arm64 ./cmd/tramd
	GOOS=linux GOARCH=arm GOARM=7 CGO_ENABLED=1 CC=arm-linux-gnueabihf-gcc $(BUILD) -o dist/tramd-armhf ./cmd/tramd
	GOOS=linux GOARCH=arm GOARM=7 CGO_ENABLED=1 CC=arm-linux-gnueabihf-gcc $(GO) vet -trimpath -tags "$(TAGS)" ./...

# The cross-built programs do the whole job, each on its own processor as qemu plays it.
emulated: cross
	@./cmd/tramd/need.sh qemu-aarch64-static:qemu-user-static
	qemu-aarch64-static -L /usr/aarch64-linux-gnu dist/tramd-arm64 version
	qemu-arm-static -L /usr/arm-linux-gnueabihf dist/tramd-armhf version
	qemu-aarch64-static -L /usr/aarch64-linux-gnu dist/tramd-arm64 demo --seconds 6 --json --listen 127.0.0.1:0 >dist/demo-arm64.json 2>dist/demo-arm64.log & \
	qemu-arm-static -L /usr/arm-linux-gnueabihf dist/tramd-armhf demo --seconds 6 --json --listen 127.0.0.1:0 >dist/demo-armhf.json 2>dist/demo-armhf.log || { cat dist/demo-armhf.log; exit 1; }; \
	wait $$! || { cat dist/demo-arm64.log; exit 1; }

# Debian packages for this computer, arm64 and armhf, in dist/deb.
deb: build cross
	@./cmd/tramd/need.sh dpkg-deb:dpkg readelf:binutils go-md2man:go-md2man
	rm -rf dist/deb
	cp bin/tramd dist/tramd-$$(dpkg --print-architecture)
	for arch in $$(dpkg --print-architecture) arm64 armhf; do systemd/deb/build.sh $$arch dist/tramd-$$arch dist/deb || exit 1; done

# Their life on a machine, in a copy-on-write copy of this one. As root.
deb-test: deb
	@./cmd/tramd/need.sh lintian:lintian systemd-analyze:systemd man:man-db
	systemd/deb/test.sh dist/deb

# A first day with the package: a fresh account, from apt to a first sweep on a simulated bench. As root.
session-test: deb
	@./cmd/tramd/need.sh python3:python3
	systemd/deb/session.sh dist/deb/tramd_*_$$(dpkg --print-architecture).deb

# The packaged service under a systemd of its own, in a container. As root, with cgroups.
boot-test: deb
	@./cmd/tramd/need.sh systemd-nspawn:systemd-container curl:curl
	systemd/deb/boot.sh dist/deb/tramd_*_$$(dpkg --print-architecture).deb

# The container image, built and run; wants podman or docker.
container-test:
	systemd/container/try.sh

# Each decoder and parser in turn, FUZZTIME long.
FUZZTIME ?= 30s
fuzz:
	@set -e; for f in $$(grep -rl --include='*_test.go' '^func Fuzz' .); do \
	  for t in $$(sed -n 's/^func \(Fuzz[A-Za-z0-9_]*\).*/\1/p' $$f); do \
	    echo "$$t ($$(dirname $$f))"; $(GO) test -tags "$(TAGS)" -run '^$$' -fuzz "^$$t\$$" -fuzztime $(FUZZTIME) ./$$(dirname $$f); done; done

clean:
	rm -rf bin dist
