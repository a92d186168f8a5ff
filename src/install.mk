# Installing: the library, the manual, and which file goes where. Read by the Makefile at the top.
BINDIR     ?= $(PREFIX)/bin
LIBDIR     ?= $(PREFIX)/lib
INCLUDEDIR ?= $(PREFIX)/include
DATADIR    ?= $(PREFIX)/share
MANDIR     ?= $(DATADIR)/man
DOCDIR     ?= $(DATADIR)/doc/lugmark
UNITDIR    ?= $(PREFIX)/lib/systemd/system
UDEVDIR    ?= $(PREFIX)/lib/udev/rules.d
USERSDIR   ?= $(PREFIX)/lib/sysusers.d
BASHDIR    ?= $(DATADIR)/bash-completion/completions
# A lugmark that runs on this machine, when the one being built is for another.
RUN_LUGMARK ?= $(BUILD)/lugmark

VERSION := $(shell sed -n 's/.*LM_VERSION "\(.*\)".*/\1/p' include/lugmark/version.h)
# Changes when a program linked with the library before would not run with it any more.
SONAME  := liblugmark.so.0
OUT     := $(BUILD)/install

# ---- the library as others use it: all that is below the programs, drivers included. The programs
# ---- themselves are linked with the objects: a register is read by the program that belongs to it.
SO      := $(OUT)/liblugmark.so.$(VERSION)
LIB_OBJ  = $(call obj,$(LIB_SRC) $(DRV_SRC))
LIB_PC  := libserialport sqlite3 jansson inih

$(OUT)/liblugmark.a: $(LIB_OBJ)
	@mkdir -p $(@D); rm -f $@
	$(call say,AR)
	$(Q)$(AR) rcs $@ $^

$(OUT)/liblugmark.map: $(LIB_OBJ) src/symbols $(wildcard include/lugmark/*.h)
	@mkdir -p $(@D)
	$(Q)./src/symbols $(abspath $(LIB_OBJ)) > $@

$(SO): $(OUT)/liblugmark.map $(LIB_OBJ)
	$(call say,LD)
	$(Q)$(CC) -shared $(CFLAGS_ALL) $(LDOPT) -Wl,-soname,$(SONAME) -Wl,--version-script=$< -o $@ \
		$(LIB_OBJ) -Wl,--as-needed $(shell pkg-config --libs $(LIB_PC)) -lcsv -lm

# ---- texts with a place to fill in
FILL = sed -e 's|@PREFIX@|$(PREFIX)|' -e 's|@BINDIR@|$(BINDIR)|' -e 's|@LIBDIR@|$(LIBDIR)|' \
	-e 's|@INCLUDEDIR@|$(INCLUDEDIR)|' -e 's|@VERSION@|$(VERSION)|' -e 's|@REQUIRES@|$(LIB_PC)|'

$(OUT)/%: src/%.in FORCE
	@mkdir -p $(@D)
	$(Q)$(FILL) $< > $@
$(OUT)/%: src/daemon/%.in FORCE
	@mkdir -p $(@D)
	$(Q)$(FILL) $< > $@

$(OUT)/lugmark.bash: $(BUILD)/lugmark
	@mkdir -p $(@D)
	$(Q)$(RUN_LUGMARK) help --as=completion > $@

# lugmark(1): its commands and options come from the tables that the program parses with.
$(OUT)/lugmark.1: src/cli/man/lugmark.1.in $(BUILD)/lugmark
	@mkdir -p $(@D)
	$(Q)$(RUN_LUGMARK) help --as=mdoc > $@.commands
	$(Q)sed -e '/^@COMMANDS@$$/{r $@.commands' -e 'd}' $< > $@

FORCE:

MAN1 := $(OUT)/lugmark.1 src/cli/man/lugmark-nfc.1
MAN5 := src/daemon/man/lugmark.conf.5
MAN7 := src/daemon/man/lugmark-protocol.7 src/daemon/man/lugmark-driver.7
MAN8 := src/daemon/man/lugmarkd.8

# ---- what is installed, as mode:file:place; install and uninstall both go through this list
to = $(foreach f,$(2),$(1):$(f):$(3)/$(notdir $(f)))
INSTALLED = $(call to,755,$(PROGRAMS),$(BINDIR)) \
	$(call to,644,$(SO) $(OUT)/liblugmark.a,$(LIBDIR)) \
	link:liblugmark.so.$(VERSION):$(LIBDIR)/$(SONAME) link:$(SONAME):$(LIBDIR)/liblugmark.so \
	$(call to,644,$(OUT)/lugmark.pc,$(LIBDIR)/pkgconfig) \
	$(call to,644,$(wildcard include/lugmark/*.h),$(INCLUDEDIR)/lugmark) \
	$(call to,644,$(MAN1),$(MANDIR)/man1) $(call to,644,$(MAN5),$(MANDIR)/man5) \
	$(call to,644,$(MAN7),$(MANDIR)/man7) $(call to,644,$(MAN8),$(MANDIR)/man8) \
	644:$(OUT)/lugmark.bash:$(BASHDIR)/lugmark \
	$(foreach f,$(MO),644:$(f):$(DATADIR)/$(patsubst $(BUILD)/%,%,$(f))) \
	$(call to,644,$(wildcard src/cli/packs/*.json),$(DATADIR)/lugmark/packs) \
	$(call to,644,$(wildcard src/wire/protocol/*.schema.json),$(DATADIR)/lugmark/schemas) \
	$(call to,644,udev/62-lugmark.rules,$(UDEVDIR)) \
	$(call to,644,src/cli/lugmark.metainfo.xml,$(DATADIR)/metainfo) \
	$(call to,644,$(OUT)/lugmarkd.service,$(UNITDIR)) \
	644:src/daemon/lugmark.sysusers:$(USERSDIR)/lugmark.conf \
	$(call to,644,README.md LICENSE $(wildcard src/wire/protocol/protocol.md),$(DOCDIR)) \
	644:src/daemon/lugmark.conf.example:$(DOCDIR)/examples/lugmark.conf \
	$(call to,644,udev/blacklist-nfc.conf.example fixtures/demo/register.csv,$(DOCDIR)/examples) \
	$(call to,755,fixtures/programs/follow.py fixtures/programs/every-second.sh,$(DOCDIR)/examples)
# Folders that are nobody else's.
OWN_DIRS := $(DOCDIR)/examples $(DOCDIR) $(DATADIR)/lugmark/packs $(DATADIR)/lugmark/schemas \
	$(DATADIR)/lugmark $(INCLUDEDIR)/lugmark

to_install := $(PROGRAMS) $(MO) $(SO) $(OUT)/liblugmark.a $(OUT)/lugmark.pc $(OUT)/lugmark.bash \
	$(OUT)/lugmark.1 $(OUT)/lugmarkd.service

.PHONY: install uninstall list-installed deb check-deb manual FORCE
manual: $(OUT)/lugmark.1

install: $(to_install)
	@set -e; for f in $(INSTALLED); do \
		how=$${f%%:*}; rest=$${f#*:}; from=$${rest%%:*}; place="$(DESTDIR)$${rest#*:}"; \
		mkdir -p "$${place%/*}"; \
		case $$how in link) ln -sf "$$from" "$$place" ;; \
		*) install -m $$how "$$from" "$$place" ;; esac; done
	@echo "installed in $(DESTDIR)$(PREFIX); to begin: man lugmark"

uninstall:
	@rm -f $(foreach f,$(INSTALLED),"$(DESTDIR)$(lastword $(subst :, ,$(f)))")
	@for d in $(OWN_DIRS); do rmdir "$(DESTDIR)$$d" 2>/dev/null || :; done

list-installed:
	@printf '%s\n' $(foreach f,$(INSTALLED),$(lastword $(subst :, ,$(f)))) | sort

# Debian packages: the tree and src/cli/debian side by side in a folder of the build.
deb:
	@./tests/deps deb
	@./src/cli/debian/build $(BUILD)/deb

# Needs root and the network: a small Debian, the packages, a first day, and purging.
check-deb: deb
	@./tests/chroot $(BUILD)/deb
