# Mullion. The two commands a newcomer needs are `make demo` and `make test`.

GO      ?= go
DEMO    ?= demo-house
VERSION := $(shell git describe --always --dirty 2>/dev/null || echo dev)
SOURCES := $(shell find . -name '*.go' -o -name '*.toml' -o -name '*.png' -path './demo/*' -o -path './studio/assets/*' -o -name go.mod)

.PHONY: all demo test torture faults lint bench quality fuzz deps clean

all: mullion

# Installs the native libraries through the system's package manager; silent when
# nothing is missing.
deps:
	@scripts/deps

mullion: $(SOURCES) | deps
	$(GO) build -ldflags "-X main.version=$(VERSION)" -o $@ ./cmd/mullion

# Writes the demo card, runs the main job on it and says where the pictures are.
demo: mullion
	@rm -rf $(DEMO)
	./mullion demo $(DEMO)/card
	./mullion finish $(DEMO)/card --to $(DEMO)/shoot --rooms "entry,living room,dining room,kitchen,kitchen,guest room,bathroom,shower" --report $(DEMO)/report.json
	@echo
	@echo "The gallery: $(CURDIR)/$(DEMO)/shoot/deliveries/listing/index.html"

test: deps lint
	$(GO) test ./...

# What may go wrong at the worst moment, often: 300 killed copies and 40 killed runs of
# the whole program, 10,000 spoiled camera files. About ten minutes.
torture: deps
	MULLION_KILLS=300 $(GO) test -count=1 -v -timeout 60m -run 'TestProcessKilled' ./card
	MULLION_SPOILED=10000 $(GO) test -count=1 -v -timeout 60m -run 'TestSpoiledFiles|TestBreaks|TestMemory|TestConfined' ./rawfile ./rawfile/apart

# How often each planted fault is found, at several strengths, over the whole demo
# house: a table. About ten minutes.
faults: deps
	MULLION_FAULTS=1 $(GO) test -count=1 -v -timeout 60m -run TestSurveyOfFaults ./check

lint: deps
	@out=$$(gofmt -l $$(git ls-files '*.go')); [ -z "$$out" ] || { echo "not gofmt-ed:"; echo "$$out"; exit 1; }
	$(GO) vet ./...
	$(GO) tool staticcheck ./...

bench: deps
	$(GO) test -run '^$$' -bench . -benchmem ./...

# The pictures measured, on the rendered house and on real brackets, beside what
# OpenCV makes of them. MULLION_TESTDATA names the folder with demo-house/ and realdata/.
quality: deps
	@[ -n "$$MULLION_TESTDATA" ] || { echo "make quality: set MULLION_TESTDATA to the folder that holds demo-house/ and realdata/"; exit 1; }
	$(GO) run ./cmd/quality "$$MULLION_TESTDATA"

# Ten seconds of fuzzing for every parser that is ours.
fuzz: deps
	@for p in $$($(GO) list ./...); do \
	  for f in $$($(GO) test -list '^Fuzz' $$p 2>/dev/null | grep '^Fuzz'); do \
	    echo "$$p $$f"; $(GO) test -run '^$$' -fuzz "^$$f$$" -fuzztime 10s $$p || exit 1; \
	  done; done

clean:
	rm -rf mullion $(DEMO)
