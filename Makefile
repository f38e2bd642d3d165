export CGO_ENABLED ?= 0

# Packages in which goroutines share state: these run again with the race detector.
RACED = ./internal/store ./internal/workshop ./internal/api ./internal/web ./internal/web/hearing ./internal/web/earpiece ./internal/cli

# Tests that listen in a browser as time passes, which the race detector is too
# slow for; unit runs them.
REALTIME = ^TestListen(ed|In|Live)

.PHONY: build test tools lint unit race fuzz bench accuracy platforms

build:
	go build -trimpath -ldflags='-s -w' -o timeball ./cmd/timeball

# Everything: installs what is missing, then checks and tests.
test: tools lint unit race platforms

# Chromium opens the pages in the browser tests, chrony serves UTC, SoX makes
# recordings, espeak-ng speaks where no beat may be heard, poppler-utils reads
# papers back; gcc is for the race detector.
tools:
	@sh tools.sh

lint:
	@test -z "$$(gofmt -l .)" || { gofmt -l .; echo 'run gofmt -w on the files above'; exit 1; }
	go vet ./...
	go tool staticcheck ./...

unit:
	go test -count=1 ./internal # asks go list, which the test cache does not see
	go test $$(go list ./... | grep -v internal/web)
	go test $$(go list ./internal/web/... | grep -v island)
	go test -parallel 1 ./internal/web/island # browsers that keep time want the machine to themselves

race:
	CGO_ENABLED=1 go test -race -short -skip '$(REALTIME)' $(RACED)

# The binary builds for every platform we name.
platforms:
	@for os in linux darwin windows; do for arch in amd64 arm64; do \
		echo "build $$os/$$arch"; GOOS=$$os GOARCH=$$arch go build -o /dev/null ./cmd/timeball || exit 1; done; done

# Each fuzz target for a minute.
fuzz:
	@for p in clock:FuzzParseDial timescale:FuzzParse timescale:FuzzReadList reference:FuzzParseServers observe:FuzzReckon setting:FuzzParseRest web:FuzzTaps audio:FuzzOpen timebase:FuzzParse beat:FuzzListener web/earpiece:FuzzChunk trial/programme:FuzzRead trial:FuzzReadRates together/rounds:FuzzRead paper/calendar:FuzzParseHour picture:FuzzSmall packing:FuzzReadPoints packing/measure:FuzzParse chronometer:FuzzEntry chronometer:FuzzParseMoney ratebook:FuzzRead api:FuzzEntryBody web/form:FuzzParseWhen web/form:FuzzParseNumber archive:FuzzRead archive:FuzzEntries; do \
		echo "$$p"; go test ./internal/$${p%%:*} -run '^$$' -fuzz "^$${p##*:}\$$" -fuzztime 60s -fuzzminimizetime 20x || exit 1; done

bench:
	go test ./... -run '^$$' -bench . -benchmem

# The figures of docs/accuracy.md.
accuracy:
	go test ./internal/rating -run 'Ensemble|Mix|Weekly|Carriage|Arnold|Five|Years' -v -count=1
	go test ./internal/regulating -run 'Regulations|LeftAlone' -v -count=1
	go test ./internal/trial -run 'Coverage|Verdicts' -v -count=1
	go test ./internal/together/... -run 'Honest|Quiet|Changed|Jumps' -v -count=1
	go test ./internal/beat -run 'Rows|Gaps|Heard|Teeth|Two|Overlap|Anything|Refusals|Speech|Drum|Interval' -rows 100 -v -count=1 -timeout 3h
