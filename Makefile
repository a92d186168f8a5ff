# lugmark: GNU make. `make help` lists the targets.
MODE    ?= release
BUILD   ?= build/$(MODE)
ifeq ($(origin CC),default)
CC := gcc
endif
PREFIX  ?= /usr/local
DESTDIR ?=

# V=1 shows the whole command lines.
V ?= 0
ifeq ($(V),0)
Q := @
say = @echo '  $(1) $@'
else
Q :=
say = @:
endif

LIBS_PC  := libserialport sqlite3 libevent_core libevent_extra jansson inih libqrencode
PC_TEST  := cmocka
WARN := -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wstrict-prototypes -Wmissing-prototypes \
        -Wvla -Wformat=2 -Wswitch-enum -Werror
CPPFLAGS_ALL := -D_GNU_SOURCE -Iinclude -Isrc -I. $(CPPFLAGS)
DEPFLAGS = -MMD -MP
ifeq ($(MODE),debug)
OPT := -O1 -g -fno-omit-frame-pointer -fsanitize=address,undefined -fno-sanitize-recover=undefined
LDOPT := -fsanitize=address,undefined
else ifeq ($(MODE),coverage)
# Without optimisation gcc guesses lengths of text worse.
OPT := -O0 -g --coverage -fprofile-update=atomic -Wno-format-truncation
LDOPT := --coverage
else ifeq ($(MODE),valgrind)
# Without sanitizers, which valgrind cannot run.
OPT := -O1 -g -fno-omit-frame-pointer
LDOPT :=
else
OPT := -O2 -g -D_FORTIFY_SOURCE=2 -fstack-protector-strong
LDOPT :=
endif
LDOPT += $(LDFLAGS)
# One set of objects, for the programs and for the shared library.
PIC := -fPIC -fno-semantic-interposition
CFLAGS_ALL = -std=c11 $(WARN) $(OPT) $(PIC) $(CFLAGS)
LDLIBS_ALL = $(shell pkg-config --libs $(LIBS_PC)) -lcsv -lm $(LDLIBS)

LIB_SRC  := $(wildcard src/core/*.c src/race/*.c src/wire/*.c src/store/*.c src/report/*.c)
DRV_SRC  := $(filter-out drivers/nfc_helper%.c,$(wildcard drivers/*.c))
CLI_SRC  := $(wildcard src/cli/*.c src/sieve/*.c)
DMN_SRC  := $(wildcard src/daemon/*.c)
TEST_SRC := $(wildcard tests/unit/test_*.c)
obj = $(patsubst %.c,$(BUILD)/%.o,$(1))

LIB      := $(BUILD)/liblugmark.a
DRV_LIB  := $(BUILD)/libdrivers.a
NFC_SRC  := $(wildcard drivers/nfc_helper*.c)
PROGRAMS := $(BUILD)/lugmark $(BUILD)/lugmarkd $(BUILD)/lugmark-nfc
UNIT     := $(patsubst tests/unit/%.c,$(BUILD)/unit/%,$(TEST_SRC))

# The page's files are put into lugmarkd, scripts and styles without what only people need. Those
# that a route names must be there.
PAGE_DIR   := src/daemon/page
PAGE_MUST  := $(addprefix $(PAGE_DIR)/,race.html book.html pair.html style.css common.js race.js \
              book.js icon.svg)
PAGE_FILES := $(sort $(PAGE_MUST) $(wildcard $(addprefix $(PAGE_DIR)/*.,html css js svg png)))
PAGE_LIST  := $(BUILD)/page/page_list.h
PAGE_BUILT := $(patsubst $(PAGE_DIR)/%,$(BUILD)/page/%,$(PAGE_FILES))
PAGE_STRIP := src/daemon/page_strip.awk

# The screens in other languages. Without msgfmt (package gettext) they speak English.
PO := $(if $(shell command -v msgfmt),$(wildcard src/report/po/*.po))
MO := $(patsubst src/report/po/%.po,$(BUILD)/locale/%/LC_MESSAGES/lugmark.mo,$(PO))

.PHONY: all help deps demo check asan bench fuzz format format-check check-layers install clean \
        coverage mutate tidy habits portable torture soak \
        programs tests words valgrind
.DELETE_ON_ERROR:
.PRECIOUS: $(BUILD)/%.o

all: deps
	@$(MAKE) --no-print-directory programs

programs: $(PROGRAMS) $(MO)

help:
	@sed -n 's/^## //p' Makefile

## all           install what is missing, build lugmark, lugmarkd and lugmark-nfc
## deps          install the libraries that are missing (Debian)
## demo          the main job from end to end on an invented holding
## check         every test; ends with "N passed, N failed"
## asan          build with address and undefined-behaviour sanitizers
## bench         ratios against peers, in one run
## fuzz          fuzz every way in, FUZZ_SECONDS=60 each
## torture       kills, power cuts, calls that fail, flipped bytes, a short soak (KILLS=1000)
## soak          race days at 50 times their speed (SECONDS=3600)
## valgrind      every test that can be under valgrind; WHICH= those with this in their name
## coverage      run all tests and say what of the sources they ran
## mutate        break core and race on purpose: do the unit tests notice? (MUTANTS=150)
## tidy          clang-tidy; writes what was found good into tests/tidy/good
## habits        layers, format, doc comments, reading order, and that the page of JSON keys is up to date
## portable      core and more on 32 bits, big-endian, musl, and with clang
## words         gather the texts of the screens for their translations
## format        clang-format the sources; format-check only looks
## check-layers  refuse includes against the direction of the layers
## install       into $(DESTDIR)$(PREFIX), uninstall takes the same files away
## deb           Debian packages in build/release/deb; check-deb tries them in a chroot (root)
## clean         remove build/
deps:
	@./tests/deps build

# Other flags than last time: everything is compiled again.
$(BUILD)/flags: FORCE
	@mkdir -p $(@D)
	@echo '$(CPPFLAGS_ALL) $(CFLAGS_ALL)' | cmp -s - $@ || echo '$(CPPFLAGS_ALL) $(CFLAGS_ALL)' > $@

$(BUILD)/%.o: %.c $(BUILD)/flags
	@mkdir -p $(@D)
	$(call say,CC)
	$(Q)$(CC) $(CPPFLAGS_ALL) $(CFLAGS_ALL) $(DEPFLAGS) -c -o $@ $<

# Where an installed program looks last; it tries the folders beside itself first.
$(BUILD)/src/report/tongue.o: private CPPFLAGS_ALL += -DLM_LOCALEDIR='"$(PREFIX)/share/locale"'

$(BUILD)/locale/%/LC_MESSAGES/lugmark.mo: src/report/po/%.po
	@mkdir -p $(@D)
	$(call say,MO)
	$(Q)msgfmt --check -o $@ $<

words:
	@./src/report/po/words make

$(PAGE_MUST):
	@echo "make: $@ is missing: lugmarkd serves it; git checkout $@" >&2; exit 1

# No implicit rule may think of the folder as a program made from page.c.
$(PAGE_DIR): ;

# Written anew when a file came or went.
$(PAGE_LIST): $(PAGE_FILES) $(PAGE_DIR)
	@mkdir -p $(@D)
	@for f in $(notdir $(PAGE_FILES)); do \
	    echo "PAGE_FILE($$(echo "$$f" | tr -c 'a-z0-9\n' _), \"$$f\")"; done > $@

$(filter %.js %.css,$(PAGE_BUILT)): $(BUILD)/page/%: $(PAGE_DIR)/% $(PAGE_STRIP)
	@mkdir -p $(@D)
	$(Q)awk -f $(PAGE_STRIP) $< > $@

$(filter-out %.js %.css,$(PAGE_BUILT)): $(BUILD)/page/%: $(PAGE_DIR)/%
	@mkdir -p $(@D)
	$(Q)cp $< $@

$(BUILD)/src/daemon/page_files.o: private CPPFLAGS_ALL += -I$(BUILD)/page -DLM_PAGE_BUILT='"$(BUILD)/page/"'
$(BUILD)/src/daemon/page_files.o: $(PAGE_LIST) $(PAGE_BUILT)

$(LIB): $(call obj,$(LIB_SRC))
	@rm -f $@
	$(AR) rcs $@ $^

$(DRV_LIB): $(call obj,$(DRV_SRC))
	@rm -f $@
	$(AR) rcs $@ $^

$(BUILD)/lugmark: $(call obj,$(CLI_SRC)) $(DRV_LIB) $(LIB)
	$(call say,LD)
	$(Q)$(CC) $(CFLAGS_ALL) $(LDOPT) -o $@ $^ $(LDLIBS_ALL)

$(BUILD)/lugmarkd: $(call obj,$(DMN_SRC)) $(DRV_LIB) $(LIB)
	$(call say,LD)
	$(Q)$(CC) $(CFLAGS_ALL) $(LDOPT) -o $@ $^ $(LDLIBS_ALL)

# The only program with libnfc, which can abort and can hang: it is run beside the daemon.
$(BUILD)/lugmark-nfc: $(call obj,$(NFC_SRC)) $(DRV_LIB) $(LIB)
	$(call say,LD)
	$(Q)$(CC) $(CFLAGS_ALL) $(LDOPT) -o $@ $^ $(shell pkg-config --libs libnfc jansson) $(LDLIBS)

# A unit test may have its own extra sources: tests/unit/NAME.mk is read when it is there.
$(BUILD)/unit/%: $(BUILD)/tests/unit/%.o $(DRV_LIB) $(LIB)
	@mkdir -p $(@D)
	$(call say,LD)
	$(Q)$(CC) $(CFLAGS_ALL) $(LDOPT) -o $@ $(filter %.o,$^) $(DRV_LIB) $(LIB) $(LDLIBS_ALL) -lcmocka -ldl
-include $(wildcard tests/unit/*.mk)

# A harness is an object as any; tests/fuzz/run builds it for the fuzzer, tests/unit/test_corpus.mk to
# play the seeds to it. Both link whatever a harness may need.
FUZZ_NEEDS := $(filter-out %/main.o,$(call obj,$(CLI_SRC) $(DMN_SRC))) $(DRV_LIB) $(LIB)
$(BUILD)/fuzz/%: $(BUILD)/tests/fuzz/%.o $(FUZZ_NEEDS)
	@mkdir -p $(@D)
	$(call say,LD)
	$(Q)$(CC) $(CFLAGS_ALL) $(LDOPT) -o $@ $^ $(LDLIBS_ALL)

tests: programs $(UNIT)

asan:
	@$(MAKE) --no-print-directory MODE=debug programs

# Where a target's programs are: BUILD of the command line, else the folder of its mode.
at = $(if $(filter command,$(firstword $(origin BUILD))),$(BUILD),build/$(1))

check:
	@./tests/deps check
	@$(MAKE) --no-print-directory MODE=debug tests
	@./tests/run $(call at,debug)

demo:
	@./tests/deps build
	@$(MAKE) --no-print-directory -s MODE=release programs
	@./fixtures/demo/run $(call at,release)

bench:
	@./tests/deps bench
	@$(MAKE) --no-print-directory -s MODE=release programs
	@./tests/bench/run $(call at,release)

coverage:
	@./tests/deps check
	@$(MAKE) --no-print-directory MODE=coverage tests
	@find $(call at,coverage) -name '*.gcda' -delete
	@./tests/run $(call at,coverage)
	@./tests/coverage/run $(call at,coverage)

mutate:
	@./tests/deps check
	@./tests/mutate/run build/mutate $(MUTANTS)

tidy:
	@./tests/deps tidy
	@./tests/tidy/run

habits: check-layers format-check
	@./tests/habits/doc-comments
	@./tests/habits/reading-order
	@./tests/system/protocol.py check

portable:
	@./tests/portable/run build/portable

TORTURE = $(addprefix $(call at,release)/unit/,test_powercut test_nth_fail test_nth_byte test_nth_noise)
torture:
	@./tests/deps check
	@$(MAKE) --no-print-directory -s MODE=release programs $(TORTURE)
	@./tests/torture/run $(call at,release) $(or $(KILLS),1000)

soak:
	@./tests/deps check
	@$(MAKE) --no-print-directory -s MODE=release programs
	@LUGMARK_BUILD=$(abspath $(call at,release)) ./tests/torture/soak.py $(or $(SECONDS),3600)

valgrind:
	@./tests/deps valgrind
	@$(MAKE) --no-print-directory -s MODE=valgrind tests
	@./tests/torture/valgrind build/valgrind $(WHICH)

fuzz:
	@./tests/deps fuzz
	@./tests/fuzz/run build

include src/install.mk

FORMAT_SRC = $(wildcard $(shell git ls-files -co --exclude-standard '*.c' '*.h' 2>/dev/null))
format:
	clang-format -i $(FORMAT_SRC)

format-check:
	@clang-format --dry-run -Werror $(FORMAT_SRC)

check-layers:
	@./tests/check-layers

clean:
	rm -rf build

-include $(shell find $(BUILD) -path $(BUILD)/deb -prune -o -type f -name '*.d' -print 2>/dev/null)
