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

LIBS_PC  := libserialport sqlite3 libevent_core libevent_extra jansson inih
PC_TEST  := cmocka
WARN := -Wall -Wextra -Wpedantic -Wshadow -Wconversion -Wstrict-prototypes -Wmissing-prototypes \
        -Wvla -Wformat=2 -Wswitch-enum -Werror
CPPFLAGS_ALL := -D_GNU_SOURCE -Iinclude -Isrc -I. $(CPPFLAGS)
DEPFLAGS = -MMD -MP
ifeq ($(MODE),debug)
OPT := -O1 -g -fno-omit-frame-pointer -fsanitize=address,undefined -fno-sanitize-recover=undefined
LDOPT := -fsanitize=address,undefined
else
OPT := -O2 -g -D_FORTIFY_SOURCE=2 -fstack-protector-strong
LDOPT :=
endif
CFLAGS_ALL = -std=c11 $(WARN) $(OPT) $(CFLAGS)
LDLIBS_ALL = $(shell pkg-config --libs $(LIBS_PC)) -lcsv -lm $(LDLIBS)

LIB_SRC  := $(wildcard src/core/*.c src/race/*.c src/wire/*.c src/store/*.c src/report/*.c)
DRV_SRC  := $(filter-out drivers/nfc_helper%.c,$(wildcard drivers/*.c))
CLI_SRC  := $(wildcard src/cli/*.c)
DMN_SRC  := $(wildcard src/daemon/*.c)
TEST_SRC := $(wildcard tests/unit/test_*.c)
obj = $(patsubst %.c,$(BUILD)/%.o,$(1))

LIB      := $(BUILD)/liblugmark.a
DRV_LIB  := $(BUILD)/libdrivers.a
NFC_SRC  := $(wildcard drivers/nfc_helper*.c)
PROGRAMS := $(BUILD)/lugmark $(BUILD)/lugmarkd $(BUILD)/lugmark-nfc
UNIT     := $(patsubst tests/unit/%.c,$(BUILD)/unit/%,$(TEST_SRC))

.PHONY: all help deps demo check asan bench fuzz format format-check check-layers install clean \
        programs tests
.DELETE_ON_ERROR:

all: deps
	@$(MAKE) --no-print-directory programs

programs: $(PROGRAMS)

help:
	@sed -n 's/^## //p' Makefile

## all           install what is missing, build lugmark, lugmarkd and lugmark-nfc
## deps          install the libraries that are missing (Debian)
## demo          the main job from end to end on an invented holding
## check         every test; ends with "N passed, N failed"
## asan          build with address and undefined-behaviour sanitizers
## bench         ratios against peers, in one run
## fuzz          fuzz the decoders and parsers for a while
## format        clang-format the sources; format-check only looks
## check-layers  refuse includes against the direction of the layers
## install       into $(DESTDIR)$(PREFIX)
## clean         remove build/
deps:
	@./tests/deps build

$(BUILD)/%.o: %.c
	@mkdir -p $(@D)
	$(call say,CC)
	$(Q)$(CC) $(CPPFLAGS_ALL) $(CFLAGS_ALL) $(DEPFLAGS) -c -o $@ $<

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

tests: programs $(UNIT)

asan:
	@$(MAKE) --no-print-directory MODE=debug programs

check:
	@./tests/deps check
	@$(MAKE) --no-print-directory MODE=debug tests
	@./tests/run build/debug

demo:
	@./tests/deps build
	@$(MAKE) --no-print-directory -s MODE=release programs
	@./fixtures/demo/run build/release

bench:
	@./tests/deps bench
	@$(MAKE) --no-print-directory -s MODE=release programs
	@./tests/bench/run build/release

fuzz:
	@./tests/deps fuzz
	@./tests/fuzz/run build

install: programs
	install -d $(DESTDIR)$(PREFIX)/bin $(DESTDIR)$(PREFIX)/share/doc/lugmark
	install -m 755 $(PROGRAMS) $(DESTDIR)$(PREFIX)/bin/
	install -m 644 README.md LICENSE $(DESTDIR)$(PREFIX)/share/doc/lugmark/
	install -d $(DESTDIR)$(PREFIX)/share/lugmark/packs
	install -m 644 src/cli/packs/*.json $(DESTDIR)$(PREFIX)/share/lugmark/packs/
	install -d $(DESTDIR)$(PREFIX)/lib/udev/rules.d
	install -m 644 udev/62-lugmark.rules $(DESTDIR)$(PREFIX)/lib/udev/rules.d/

FORMAT_SRC = $(shell git ls-files '*.c' '*.h' 2>/dev/null)
format:
	clang-format -i $(FORMAT_SRC)

format-check:
	@clang-format --dry-run -Werror $(FORMAT_SRC)

check-layers:
	@./tests/check-layers

clean:
	rm -rf build

-include $(shell find $(BUILD) -name '*.d' 2>/dev/null)
