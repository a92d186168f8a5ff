/* Help for the tests of the store: a register in a folder of its own, and animals to put in. */
#ifndef STORE_HELP_H
#define STORE_HELP_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <cmocka.h>

#include "lugmark/store.h"
#include "store/store_priv.h"
#include "store/sum_vfs.h"

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define T0 INT64_C(1777000000000)

struct help {
    char dir[64];
    char path[128];
    struct lm_store *s;
};

static inline struct lm_store *must_open(const char *path, enum lm_store_mode mode)
{
    struct lm_store *s = NULL;
    struct lm_problem p;
    if (lm_store_open(path, mode, &s, &p) != LM_OK)
        fail_msg("%s: %s", path, p.what);
    return s;
}

static inline int help_setup(void **state)
{
    struct help *h = calloc(1, sizeof *h);
    snprintf(h->dir, sizeof h->dir, "/tmp/lm-store-XXXXXX");
    assert_non_null(mkdtemp(h->dir));
    snprintf(h->path, sizeof h->path, "%s/register.db", h->dir);
    h->s = must_open(h->path, LM_STORE_CREATE);
    *state = h;
    return 0;
}

static inline int help_teardown(void **state)
{
    struct help *h = *state;
    char path[400];
    lm_store_close(h->s);
    DIR *dir = opendir(h->dir);
    for (struct dirent *e; dir != NULL && (e = readdir(dir)) != NULL;) {
        snprintf(path, sizeof path, "%s/%s", h->dir, e->d_name);
        if (e->d_name[0] != '.')
            remove(path);
    }
    if (dir != NULL)
        closedir(dir);
    rmdir(h->dir);
    free(h);
    return 0;
}

/* Open the register again, as another program would. */
static inline void help_reopen(struct help *h)
{
    lm_store_close(h->s);
    h->s = must_open(h->path, LM_STORE_WRITE);
}

static inline struct lm_eid code(uint64_t national)
{
    struct lm_eid eid;
    assert_int_equal(lm_eid_make(999, national, &eid), LM_OK);
    return eid;
}

static inline struct lm_eid code_retag(uint64_t national, uint8_t retag)
{
    struct lm_eid eid;
    struct lm_eid_fields f = {.animal = true, .retag = retag, .country = 999, .national = national};
    assert_int_equal(lm_eid_pack(&f, &eid), LM_OK);
    return eid;
}

/* An animal with one device; national 0: a number only. */
static inline struct lm_record animal(const char *key, uint64_t national, const char *visual)
{
    struct lm_record rec = {.n_devices = 1};
    snprintf(rec.key, sizeof rec.key, "%s", key);
    if (national != 0)
        rec.devices[0].eid = code(national);
    snprintf(rec.devices[0].visual, sizeof rec.devices[0].visual, "%s", visual);
    return rec;
}

static inline void text_is(const char *got, const char *want, const char *field)
{
    if (strcmp(got, want) != 0)
        fail_msg("%s is \"%s\", not \"%s\"", field, got, want);
}

static inline void date_is(struct lm_date got, struct lm_date want, const char *field)
{
    char a[LM_DATE_TEXT_SIZE], b[LM_DATE_TEXT_SIZE];
    text_is(lm_date_format(got, a), lm_date_format(want, b), field);
}

static inline void device_is(const struct lm_device *got, const struct lm_device *want)
{
    assert_int_equal(got->eid.bits, want->eid.bits);
    assert_int_equal(got->eid.known, want->eid.known);
    text_is(got->visual, want->visual, "visual");
    text_is(got->colour, want->colour, "colour");
    text_is(got->uid, want->uid, "uid");
    text_is(got->why, want->why, "why");
    date_is(got->applied, want->applied, "applied");
    date_is(got->removed, want->removed, "removed");
    assert_int_equal(got->form, want->form);
    assert_int_equal(got->place, want->place);
    assert_int_equal(got->official, want->official);
    assert_int_equal(got->gone, want->gone);
    assert_int_equal(got->replaces, want->replaces);
}

/* Every field, the rows of the devices too where @p want names them. */
static inline void record_is(const struct lm_record *got, const struct lm_record *want)
{
    text_is(got->key, want->key, "key");
    text_is(got->species, want->species, "species");
    text_is(got->breed, want->breed, "breed");
    text_is(got->dam, want->dam, "dam");
    text_is(got->sire, want->sire, "sire");
    text_is(got->mob, want->mob, "mob");
    date_is(got->born, want->born, "born");
    date_is(got->status_date, want->status_date, "status_date");
    assert_int_equal(got->sex, want->sex);
    assert_int_equal(got->castrated, want->castrated);
    assert_int_equal(got->status, want->status);
    assert_int_equal(got->n_devices, want->n_devices);
    for (unsigned i = 0; i < want->n_devices; i++) {
        device_is(&got->devices[i], &want->devices[i]);
        if (want->devices[i].id != 0)
            assert_int_equal(got->devices[i].id, want->devices[i].id);
    }
}

static inline void put_ok(struct lm_store *s, const struct lm_record *rec)
{
    if (lm_store_put(s, rec, T0, "", NULL) != LM_OK)
        fail_msg("put %s: %s", rec->key, lm_store_problem(s)->what);
}

static inline void get_ok(struct lm_store *s, const char *key, struct lm_record *rec)
{
    if (lm_store_get(s, key, rec) != LM_OK)
        fail_msg("get %s: %s", key, lm_store_problem(s)->what);
}

static inline void says(const struct lm_problem *p, const char *part)
{
    if (strstr(p->what, part) == NULL)
        fail_msg("the problem is \"%s\", which does not say \"%s\"", p->what, part);
}

static inline void fill(struct lm_store *s, unsigned from, unsigned n)
{
    for (unsigned i = from; i < from + n; i++) {
        char key[16], visual[16];
        snprintf(key, sizeof key, "K%04u", i);
        snprintf(visual, sizeof visual, "no %04u", i);
        struct lm_record rec = animal(key, i + 1, visual);
        put_ok(s, &rec);
    }
}

static inline int sql_of(const char *path, const char *sql)
{
    sqlite3 *db = NULL;
    assert_int_equal(
        sqlite3_open_v2(path, &db, SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE, lm_sum_vfs()),
        SQLITE_OK);
    int rc = sqlite3_exec(db, sql, NULL, NULL, NULL);
    sqlite3_close(db);
    return rc;
}

/* The register of a file is sound, seen by a fresh handle. */
static inline void tell(const struct lm_problem *p, void *ctx)
{
    (void) ctx;
    print_error("%s\n", p->what);
}

static inline void sound(const char *path)
{
    struct lm_store *s = must_open(path, LM_STORE_READ);
    assert_int_equal(lm_store_verify(s, tell, NULL), LM_OK);
    lm_store_close(s);
}

#endif
