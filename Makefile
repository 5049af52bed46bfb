# Targets for people; .ci/run is what a machine runs.
GO ?= go
STATICCHECK ?= $(shell $(GO) env GOPATH)/bin/staticcheck
STATICCHECK_VERSION = v0.8.2
FUZZTIME ?= 20s

.PHONY: check test race format vet staticcheck tidy golden bench demo fuzz pictures tools

check: format vet staticcheck tidy race ## everything a change must pass

format:
	@out=$$(gofmt -l cmd internal plots); if [ -n "$$out" ]; then echo "gofmt these files:"; echo "$$out"; exit 1; fi

vet:
	$(GO) vet ./...

tools:
	@test -x $(STATICCHECK) || $(GO) install honnef.co/go/tools/cmd/staticcheck@$(STATICCHECK_VERSION)

staticcheck: tools
	$(STATICCHECK) ./...

tidy:
	$(GO) mod tidy -diff

test:
	$(GO) test ./...

race:
	$(GO) test -race -timeout 60m ./... # 10 to 25 minutes a package on two cores

golden: ## rewrite the golden files; review the diff like code
	UPDATE_GOLDEN=1 $(GO) test ./...

bench:
	$(GO) test -run '^$$' -bench . -benchtime 1s -timeout 60m ./...

demo:
	$(GO) run ./cmd/leafturn demo

pictures: ## every picture of the demo season with pictures/index.html, for the eye
	rm -rf pictures
	$(GO) run ./cmd/leafturn demo --quiet --pictures pictures

# Each fuzz target in turn; new findings are kept under testdata/fuzz.
fuzz:
	@set -e; for pkg in $$($(GO) list ./...); do \
	  for f in $$($(GO) test -list '^Fuzz' $$pkg | grep '^Fuzz' || true); do \
	    echo "== $$pkg $$f"; $(GO) test -run '^$$' -fuzz "^$$f\$$" -fuzztime $(FUZZTIME) $$pkg; \
	  done; done
