/* The quick way of reconcile against the plain one, which is its oracle: the same files must give
 * the same bytes on both outputs and the same exit status. Thousands of small registers full of
 * what is unusual, and one that is large. */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "src/cli/command.h"
#include "src/sieve/sieve.h"

#define CASES 5000

struct dice {
    uint64_t s;
    const char *country; /* of nearly all codes of the case */
};

static unsigned roll(struct dice *d, unsigned sides)
{
    d->s ^= d->s << 13;
    d->s ^= d->s >> 7;
    d->s ^= d->s << 17;
    return (unsigned) ((d->s >> 33) % sides);
}

static bool one_in(struct dice *d, unsigned n)
{
    return roll(d, n) == 0;
}

static const char *any(struct dice *d, const char *const *words, unsigned n)
{
    return words[roll(d, n)];
}
#define ANY(d, ...)                                                                                \
    any(d, (const char *const[]){__VA_ARGS__},                                                     \
        sizeof((const char *const[]){__VA_ARGS__}) / sizeof(char *))

/* --- files --- */

struct files {
    char dir[64], reg[96], in[96], out[96], err[96];
};

static int make_files(void **state)
{
    struct files *f = calloc(1, sizeof *f);
    const char *base = getenv("TMPDIR");
    snprintf(f->dir, sizeof f->dir, "%s/lugmark-sieve.XXXXXX", base != NULL ? base : "/tmp");
    if (mkdtemp(f->dir) == NULL)
        return -1;
    snprintf(f->reg, sizeof f->reg, "%s/r.csv", f->dir);
    snprintf(f->in, sizeof f->in, "%s/c.csv", f->dir);
    snprintf(f->out, sizeof f->out, "%s/out", f->dir);
    snprintf(f->err, sizeof f->err, "%s/err", f->dir);
    *state = f;
    return 0;
}

static int drop_files(void **state)
{
    struct files *f = *state;
    unsetenv("LUGMARK_WAY");
    remove(f->reg);
    remove(f->in);
    remove(f->out);
    remove(f->err);
    rmdir(f->dir);
    free(f);
    return 0;
}

static char *slurp(const char *path, size_t *len)
{
    FILE *in = fopen(path, "rb");
    assert_non_null(in);
    fseek(in, 0, SEEK_END);
    *len = (size_t) ftell(in);
    rewind(in);
    char *text = calloc(1, *len + 1);
    assert_int_equal(fread(text, 1, *len, in), *len);
    fclose(in);
    return text;
}

/* --- running it --- */

struct run {
    int exit;
    char *out, *err;
    size_t n_out, n_err;
};

static int divert(int fd, const char *path)
{
    int kept = dup(fd);
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    dup2(fileno(f), fd);
    fclose(f);
    return kept;
}

static struct run reconcile(const struct files *f, const char *way, const char *options)
{
    struct run r = {0};
    char words[400], *argv[32];
    int argc = 0;
    snprintf(words, sizeof words, "lugmark reconcile --register %s --readings %s %s", f->reg, f->in,
        options);
    for (char *w = strtok(words, " "); w != NULL; w = strtok(NULL, " "))
        argv[argc++] = w;
    argv[argc] = NULL;
    setenv("LUGMARK_WAY", way, 1);
    fflush(NULL);
    int out = divert(1, f->out), err = divert(2, f->err);
    r.exit = lm_cli_main(argc, argv);
    fflush(NULL);
    dup2(out, 1);
    dup2(err, 2);
    close(out);
    close(err);
    r.out = slurp(f->out, &r.n_out);
    r.err = slurp(f->err, &r.n_err);
    return r;
}

/* Both ways say the same. @return whether the quick one was gone. */
static bool same(const struct files *f, const char *options, const char *mob, unsigned n)
{
    struct lm_sieve *s = lm_sieve_files(f->reg, f->in, mob);
    bool quick = s != NULL;
    lm_sieve_free(s);
    struct run a = reconcile(f, "plain", options), b = reconcile(f, "quick", options);
    if (a.exit != b.exit || a.n_out != b.n_out || memcmp(a.out, b.out, a.n_out) != 0 ||
        a.n_err != b.n_err || memcmp(a.err, b.err, a.n_err) != 0) {
        size_t n_reg, n_in;
        char *reg = slurp(f->reg, &n_reg), *in = slurp(f->in, &n_in);
        if (n_reg < 20000)
            print_error("case %u: %s\n%s\n--\n%s\nplain %d: %s%s\nquick %d: %s%s\n", n, options,
                reg, in, a.exit, a.out, a.err, b.exit, b.out, b.err);
        free(reg);
        free(in);
        fail_msg("case %u: the two ways differ", n);
    }
    free(a.out);
    free(a.err);
    free(b.out);
    free(b.err);
    return quick;
}

/* --- small files --- */

enum {
    ANIMAL,
    EID,
    VISUAL,
    MOB,
    STATUS,
    SEX,
    CASTRATED,
    BORN,
    FORM,
    EID_TEXT,
    REMOVED,
    OFFICIAL,
    SPECIES,
    UID,
    COLUMNS
};

static const char *const names[COLUMNS] = {"animal", "eid", "visual", "mob", "status", "sex",
    "castrated", "born", "form", "eid_text", "removed", "official", "species", "uid"};

static void code(struct dice *d, unsigned pool, char out[24])
{
    unsigned n = roll(d, pool);
    const char *country = one_in(d, 40) ? ANY(d, "000", "123", "900", "985", "826") : "999";
    snprintf(out, 24, "%s%012u", country, n * 37 + 1);
    if (one_in(d, 60))
        snprintf(out, 24, "999%012u", roll(d, 3) * 1000);
}

static void cell(struct dice *d, FILE *out, int column, unsigned i, unsigned pool, unsigned nasty,
    const char *eid)
{
    char text[32];
    switch (column) {
    case ANIMAL:
        fprintf(out, "%s%u", one_in(d, 5000) ? " A" : "A", one_in(d, nasty) ? roll(d, pool) : i);
        break;
    case EID:
        fputs(eid, out);
        break;
    case VISUAL:
        if (one_in(d, nasty))
            fprintf(out, "%s",
                ANY(d, "", "7", "007", "07", "0", "000", "-", "a-7", "A7", "12345678", "000000012",
                    "A 7", "123456789012345"));
        else
            fprintf(out, "%04u", i);
        break;
    case MOB:
        fputs(one_in(d, 3) ? "kids" : one_in(d, 20) ? "" : "does", out);
        break;
    case STATUS:
        fputs(one_in(d, nasty)
                  ? ANY(d, "sold", "dead", "lost", "alive", "", one_in(d, 50) ? "zold" : "sold")
                  : "on-farm",
            out);
        break;
    case SEX:
        fputs(ANY(d, "female", "male", "doe", "", "wether"), out);
        break;
    case CASTRATED:
        fputs(one_in(d, nasty) ? ANY(d, "no", "yes", "true") : "", out);
        break;
    case BORN:
        fputs(one_in(d, nasty * 60) ? "2024-02-30" : ANY(d, "2024-02-29", "2023", "", "2022-12"),
            out);
        break;
    case FORM:
        fputs(ANY(d, "flag tag", "bolus", "", "no such form"), out);
        break;
    case EID_TEXT:
        snprintf(text, sizeof text, "%.3s-%s", eid, strlen(eid) > 3 ? eid + 3 : "");
        fputs(one_in(d, nasty) ? ANY(d, "0x8000F9C000000026", "999-000000000038") : text, out);
        break;
    case REMOVED:
        fputs(one_in(d, nasty) ? ANY(d, "2024-01-01", "unknown") : "", out);
        break;
    case OFFICIAL:
        fputs(ANY(d, "yes", "no", "1", ""), out);
        break;
    case SPECIES:
        fputs(one_in(d, nasty * 60)   ? "\"goat\""
              : one_in(d, nasty * 60) ? "ch\xc3\xa8vre"
                                      : "goat",
            out);
        break;
    default:
        fputs(one_in(d, nasty * 60) ? "04A1B2C3D4E580" : "", out);
        break;
    }
}

static void write_register(struct dice *d, const char *path, unsigned pool, unsigned nasty)
{
    FILE *out = fopen(path, "wb");
    int order[COLUMNS], n = 0;
    const char *end = one_in(d, 5) ? "\r\n" : "\n";
    for (int c = 0; c < COLUMNS; c++)
        if (c == EID || (c < MOB && !one_in(d, 5)) || one_in(d, 3))
            order[n++] = c;
    for (int i = n - 1; i > 0; i--) {
        int k = (int) roll(d, (unsigned) i + 1), t = order[i];
        order[i] = order[k];
        order[k] = t;
    }
    for (int i = 0; i < n; i++)
        fprintf(out, "%s%s", i > 0 ? "," : "", names[order[i]]);
    fputs(end, out);
    for (unsigned row = 0, rows = pool + roll(d, 8); row < rows; row++) {
        char eid[24] = "";
        if (!one_in(d, nasty * 2))
            snprintf(eid, sizeof eid, "%s%012u", d->country, row * 37 + 1);
        if (one_in(d, nasty))
            code(d, pool, eid);
        for (int i = 0; i < n; i++) {
            fputs(i > 0 ? "," : "", out);
            cell(d, out, order[i], row, pool, nasty, eid);
        }
        if (row + 1 < rows || !one_in(d, 4))
            fputs(end, out);
        if (one_in(d, nasty * 4))
            fputs("\n", out);
    }
    fclose(out);
}

struct clock {
    long ms;
    bool whole;
};

static void write_time(struct dice *d, FILE *out, struct clock *c)
{
    static const long steps[] = {0, 90, 250, 251, 700, 1000, 2900, 3100, 9000, 29000, 31000, 61000};
    long step = c->whole ? 1000 * (long) roll(d, 5) : steps[roll(d, 12)];
    c->ms += one_in(d, 300) ? -step : step;
    fprintf(out, "2026-11-%02ldT%02ld:%02ld:%02ld", 2 + c->ms / 86400000, c->ms / 3600000 % 24,
        c->ms / 60000 % 60, c->ms / 1000 % 60);
    if (!c->whole)
        fprintf(out, ".%03ld", c->ms % 1000);
    fputs(one_in(d, 900) ? "+01:00" : one_in(d, 900) ? "" : "Z", out);
}

static void write_code(struct dice *d, FILE *out, unsigned code_of, unsigned nasty)
{
    if (one_in(d, nasty))
        fprintf(out, "%s",
            ANY(d, "999 000000000038", "junk", "999-000000000001", "8000F9C000000026",
                "0000F9C000000026", "999999999999999", "000000000000000", "#1", "0417000000000001",
                "uid:04A1B2C3D4E580", "\xff\xfe"));
    else
        fprintf(out, "%s%012u", one_in(d, nasty) ? ANY(d, "000", "123", "900") : d->country,
            code_of * 37 + 1);
}

static void write_readings(struct dice *d, const char *path, unsigned pool, unsigned nasty)
{
    FILE *out = fopen(path, "wb");
    bool lane = one_in(d, 3), timed = one_in(d, 2), table = lane || timed || one_in(d, 2);
    struct clock clock = {36000000, one_in(d, 3)};
    unsigned at = roll(d, pool), again = 0;
    bool all = one_in(d, 8); /* everybody, once */
    const char *end = one_in(d, 5) ? "\r\n" : "\n";
    if (table)
        fprintf(out, "%s%seid%s", timed ? "time," : "", lane ? "lane," : "", end);
    for (unsigned i = 0, n = all ? pool + 8 : roll(d, pool * 2 + 2); i < n; i++) {
        unsigned which = at;
        if (all)
            which = i < pool + 9 ? i : 0;
        else if (one_in(d, 6))
            which = again;
        else if (one_in(d, 12))
            which = pool + 20 + roll(d, 3); /* strangers */
        else
            at = (at + 1 + one_in(d, 9)) % (pool + 1);
        again = one_in(d, 3) ? again : which;
        if (timed)
            write_time(d, out, &clock);
        fputs(timed ? "," : "", out);
        if (lane)
            fprintf(out, "%s,", one_in(d, 3) ? "2" : one_in(d, 30) ? "" : "1");
        write_code(d, out, which, nasty * 2);
        fputs(i + 1 < n || !one_in(d, 4) ? end : "", out);
        fputs(one_in(d, nasty * 6) ? "\n# remark\n" : "", out);
    }
    fclose(out);
}

static void both_ways_say_the_same(void **state)
{
    struct files *f = *state;
    unsigned quick = 0;
    for (unsigned n = 0; n < CASES; n++) {
        struct dice d = {0x9e3779b97f4a7c15u * (n + 1), n % 9 == 4 ? "123" : "999"};
        unsigned pool = 2 + roll(&d, one_in(&d, 3) ? 6 : 60);
        unsigned nasty = one_in(&d, 2) ? 400 : 12;
        char options[120];
        for (int i = 0; i < 8; i++)
            roll(&d, 2);
        const char *mob = one_in(&d, 4) ? ANY(&d, "does", "kids", "nobody") : NULL;
        write_register(&d, f->reg, pool, nasty);
        write_readings(&d, f->in, pool, nasty);
        snprintf(options, sizeof options, "%s%s %s %s %s", mob != NULL ? "--mob " : "",
            mob != NULL ? mob : "", one_in(&d, 2) ? "--json" : "",
            ANY(&d, "", "--kind sale", "--kind count", "--rearm 1"),
            ANY(&d, "", "--heads 3", "--heads 40"));
        quick += same(f, options, mob, n);
    }
    print_message("# the quick way was gone in %u of %u cases\n", quick, CASES);
    assert_true(quick > CASES / 4);
}

/* --- a large one --- */

static void a_large_register(void **state)
{
    struct files *f = *state;
    FILE *out = fopen(f->reg, "wb");
    unsigned n = 60000;
    fputs("animal,species,sex,born,mob,form,official,eid,visual\n", out);
    for (unsigned i = 0; i < n; i++) {
        unsigned c = (unsigned) ((uint64_t) i * 7919 % n);
        fprintf(out, "A%u,goat,female,2024-%02u-%02u,m%u,flag tag,yes,999%012u,%06u\n", c,
            c % 12 + 1, c % 28 + 1, c % 7, c + 1, c);
    }
    fclose(out);
    out = fopen(f->in, "wb");
    fputs("eid\n", out);
    for (unsigned i = 0; i < n; i++) {
        unsigned c = (unsigned) ((uint64_t) i * 4391 % n);
        if (c % 101 != 0)
            fprintf(out, "999%012u\n", c + 1);
        if (c % 53 == 0)
            fprintf(out, "999%012u\n", (c + 17) % n + 1);
        if (c % 97 == 0)
            fprintf(out, "999%012u\n", c + n);
    }
    fclose(out);
    assert_true(same(f, "--json", NULL, 0));
    assert_true(same(f, "--heads 59000", NULL, 0));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(both_ways_say_the_same, make_files, drop_files),
        cmocka_unit_test_setup_teardown(a_large_register, make_files, drop_files),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
