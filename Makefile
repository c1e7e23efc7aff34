# Targets: demo, check (the test command), soak, bench, fuzz, cross, tools.
# FUZZTIME is how long each fuzz target runs, SCHEDULES how many random fault
# schedules soak plays on each link, INSTANTS at how many it kills a run.
FUZZTIME ?= 30s
SCHEDULES ?= 10000
INSTANTS ?= 300
GO ?= go

.PHONY: demo check tools lint test test-race test-race-long test-plain cross cross-check bench fuzz soak

demo:
	$(GO) run ./cmd/bandproof demo

# Tests often wait, and builds never do: together they keep two cores busy.
check: tools lint
	@$(MAKE) --no-print-directory -j4 test-race test-race-long test-plain cross-check
	@echo "check: all passed"

# Programs of others that the tests need: independent clients of the virtual
# bench (socat, PyVISA), the dissector of HiSLIP (tshark), clients,
# servers and encoders of VXI-11 (lxi-tools, rpcbind, rpcgen with libtirpc), a finder of services
# (zeroconf), a mail server (aiosmtpd), a database server (postgresql), and
# pdftotext and a browser (chromium) to read the data sheets back.
PACKAGES = socat tshark python3-zeroconf python3-pyvisa python3-pyvisa-py python3-serial poppler-utils gcc libc6-dev \
  chromium lxi-tools rpcbind rpcsvc-proto libtirpc-dev iproute2 python3-aiosmtpd postgresql
# Other readers of data sheets: qpdf (structure of PDF), LibreOffice and openpyxl (workbooks). LibreOffice takes 20 s
# and 200 MB to install.
PACKAGES += qpdf libreoffice-calc-nogui python3-openpyxl
# The code on a label is read by zbar.
PACKAGES += zbar-tools
# Judges of certificates (xmllint; BANDPROOF_DCC_SCHEMAS names a folder with the published schemas) and of their
# signatures (xmlsec1).
PACKAGES += libxml2-utils xmlsec1 openssl
# What a stranger checks records with (reports/record/VERIFY.md), and a reader of key files.
PACKAGES += coreutils jq unzip openssh-client python3

tools:
	@missing=""; for p in $(PACKAGES); do dpkg -s $$p >/dev/null 2>&1 || missing="$$missing $$p"; done; \
	if [ -z "$$missing" ]; then exit 0; fi; \
	if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	  echo "tools: installing$$missing"; \
	  apt-get update -qq >/dev/null && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq $$missing >/dev/null; \
	else \
	  echo "tools: missing$$missing; as root: apt-get install$$missing"; \
	  echo "tools: or set BANDPROOF_NO_PEERS=1 to leave those tests out (they say so)"; \
	  [ "$$BANDPROOF_NO_PEERS" = 1 ]; \
	fi

lint:
	@bad=$$(gofmt -l cmd drivers procedures runner reports); if [ -n "$$bad" ]; then echo "not gofmt-clean:"; echo "$$bad"; exit 1; fi
	$(GO) mod verify
	$(GO) mod tidy -diff
	$(GO) vet ./...
	$(GO) tool staticcheck ./...

# The race detector watches every package. Of those whose tests compute for long (five to ten times as long under it) it
# watches fewer cases of each test, by -short; test-plain takes all of theirs.
LONG = procedures reports/dcc reports/diagram reports/record reports/sheet reports/store runner/isolate runner/symptom
# gotestsum lists every skipped test, with its reason, at the end. Lint has vetted all of them.
GOTEST = $(GO) tool gotestsum --format pkgname --format-hide-empty-pkg --raw-command -- env CGO_ENABLED=$(CGO) $(GO) test -json -vet=off -timeout 20m
# Only the race detector needs cgo; all else is built once, as the program is.
export CGO_ENABLED = 0
test-race test-race-long: CGO = 1
test-plain: CGO = 0
test:
	@$(MAKE) --no-print-directory -j3 test-race test-race-long test-plain

# The tests of the programs as processes mostly wait: many go at once.
test-race:
	$(GOTEST) -race -parallel 6 $$($(GO) list ./... | grep -vE $(LONG:%=-e '^bandproof/%(/|$$)'))

test-race-long:
	$(GOTEST) -race -short -p 1 $(LONG:%=./%/...)

test-plain:
	$(GOTEST) -p 1 $(LONG:%=./%/...)

# The main program builds without cgo on every system that it is meant for. check takes each system and each architecture
# once (linux/amd64 is what the tests run), only where nothing else needs the processor, and not optimised, which takes two
# thirds of the time; cross builds all of them as they are given out.
TARGETS = linux/amd64 linux/arm64 windows/amd64 windows/arm64 darwin/amd64 darwin/arm64
cross-check: TARGETS = linux/arm64 windows/amd64 darwin/arm64
cross-check: BUILD = nice -n 15 $(GO) build -gcflags=all='-N -l' -ldflags='-s -w'
cross: BUILD = $(GO) build
cross cross-check:
	@for t in $(TARGETS); do \
	  echo "build $$t"; CGO_ENABLED=0 GOOS=$${t%/*} GOARCH=$${t#*/} $(BUILD) -o /dev/null ./cmd/bandproof || exit 1; done

# Prints for each link: schedules, readings, errors by kind, violations.
soak:
	$(GO) test ./drivers/drivertest/faulty -run Soak -schedules $(SCHEDULES) -v -timeout 6h
	$(GO) test ./reports/sheet -run Large -points 20000 -v -timeout 1h
	$(GO) test ./cmd/bandproof -run KilledAtAnyInstant -instants $(INSTANTS) -v -timeout 2h
	$(GO) test ./runner/symptom -run HealthyUnit -healthy 300 -v -timeout 1h
	$(GO) test ./runner/isolate -run 'Shown|TwoFaults' -every 1 -v -timeout 1h

bench:
	$(GO) test -run '^$$' -bench . -benchmem ./...

fuzz:
	@for p in $$($(GO) list ./...); do \
	  for f in $$($(GO) test -list '^Fuzz' $$p | grep '^Fuzz'); do \
	    echo "fuzz $$p $$f"; $(GO) test -run '^$$' -fuzz "^$$f$$" -fuzztime $(FUZZTIME) $$p || exit 1; done; done
