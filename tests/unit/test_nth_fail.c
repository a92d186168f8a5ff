/* Every allocation, every call of the system and every call of SQLite fails once, in turn, in each
 * of the things that are done with a register. Each time the program ends by itself with a message
 * that says how to mend it, and the register is sound: as it was before, or as it was to be.
 * LUGMARK_EVERY=1 tries each call; without it only some of each. */
#include "store_help.h"

#include "nth.h"
#include "lugmark/eventline.h"
#include "src/cli/command.h"

#include <fcntl.h>
#include <sys/wait.h>

#define WORDS_MAX 12

/* One thing that is done, in a child process of its own. */
struct deed {
    const char *name;
    const char *from;             /* the register it begins with, NULL: none */
    const char *words[WORDS_MAX]; /* of the command line; none: a session, below */
    const char *makes;            /* a file that it makes: whole, or not there */
    bool reads;                   /* changes nothing */
};

static const struct deed deeds[] = {
    {"init", NULL, {"init"}, NULL, false},
    {"import", "empty.db", {"import", "register.csv"}, NULL, false},
    {"import stock", "full.db", {"stock", "import", "stock.csv"}, NULL, false},
    {"import bundle", "less.db", {"import", "--bundle", "more.bundle"}, NULL, false},
    {"session", "full.db", {NULL}, NULL, false},
    {"retag", "full.db",
        {"retag", "A3", "--reason", "lost", "--visual", "X77", "--eid", "999000000000977"}, NULL,
        false},
    {"undo", "full.db", {"undo", "--register"}, NULL, false},
    {"findings", "full.db", {"findings", "1", "--json"}, NULL, true},
    {"backup", "full.db", {"backup", "copy.db"}, "copy.db", true},
    {"bundle", "full.db", {"export", "--bundle", "made.bundle"}, "made.bundle", true},
    {"export", "full.db", {"export", "-o", "made.csv"}, "made.csv", true},
    {"verify", "full.db", {"verify"}, NULL, true},
};

struct yard {
    char home[64], dir[80]; /* templates; where the deed is done */
    int64_t acked;          /* last place in the journal that the session was told of */
    int told;
    unsigned faults;
    char said[16384]; /* standard error of the last child */
};

/* --- the templates --- */

static void in(char *out, size_t size, const char *dir, const char *name)
{
    snprintf(out, size, "%s/%s", dir, name);
}

static void text_file(const char *dir, const char *name, const char *text)
{
    char path[160];
    in(path, sizeof path, dir, name);
    FILE *f = fopen(path, "w");
    assert_non_null(f);
    fputs(text, f);
    fclose(f);
}

static void copy(const char *from_dir, const char *from, const char *to_dir, const char *to)
{
    static char bytes[1 << 20];
    char path[160];
    in(path, sizeof path, from_dir, from);
    FILE *f = fopen(path, "rb");
    assert_non_null(f);
    size_t n = fread(bytes, 1, sizeof bytes, f);
    assert_true(n < sizeof bytes);
    fclose(f);
    in(path, sizeof path, to_dir, to);
    f = fopen(path, "wb");
    assert_int_equal(fwrite(bytes, 1, n, f), n);
    fclose(f);
}

/* Readings of one turn: nine are written as eight in one statement, and one. */
static enum lm_err burst(struct lm_store *s, int64_t *row, unsigned n, unsigned from, int64_t *seq)
{
    struct lm_event evs[9] = {0};
    for (unsigned k = 0; k < n; k++) {
        evs[k] = (struct lm_event){.kind = LM_EVENT_READING, .t_ms = T0 + from};
        evs[k].eid =
            lm_eid_from_bits((UINT64_C(0x8000) << 48) | (UINT64_C(999) << 38) | (from + k));
    }
    enum lm_err err = lm_store_append_all(s, row, evs, n);
    *seq = evs[n - 1].seq;
    return err;
}

/* One commit of the session: its opening, its readings, a change of the register, its close. */
static enum lm_err turn(struct lm_store *s, int64_t *row, unsigned i, int64_t *seq)
{
    struct lm_open open = {.kind = LM_WALK};
    struct lm_event ev = {.kind = i == 0 ? LM_EVENT_OPEN : LM_EVENT_READING, .t_ms = T0 + i};
    struct lm_record rec;
    char token[32];
    snprintf(token, sizeof token, "t%lld", (long long) lm_store_last_seq(s));
    enum lm_err err = lm_store_begin(s);
    ev.open = i == 0 ? &open : NULL;
    if (i == 7)
        ev.kind = LM_EVENT_CLOSE;
    if (err == LM_OK && ev.kind == LM_EVENT_READING)
        err = burst(s, row, i == 3 ? 9 : 3, i, seq);
    else if (err == LM_OK)
        err = lm_store_append(s, row, &ev, i == 0 ? token : NULL, seq);
    if (err == LM_OK && i == 5) {
        err = lm_store_get(s, "A2", &rec);
        snprintf(rec.breed, sizeof rec.breed, "alpine");
        err = err ? err : lm_store_put(s, &rec, T0, "", seq);
    }
    return err ? err : lm_store_commit(s);
}

/* A session as the daemon writes it. Tells of each commit through a descriptor. */
static int session(const char *path, int told)
{
    struct lm_store *s = NULL;
    struct lm_problem p = {0};
    int64_t row = 0, seq = 0;
    enum lm_err err = lm_store_open(path, LM_STORE_WRITE, &s, &p);
    for (unsigned i = 0; err == LM_OK && i < 8; i++) {
        err = turn(s, &row, i, &seq);
        if (err == LM_OK && pwrite(told, &seq, sizeof seq, 0) != sizeof seq)
            _exit(92);
        if (err != LM_OK)
            p = *lm_store_problem(s);
        lm_store_rollback(s);
    }
    lm_store_close(s);
    if (err != LM_OK)
        fprintf(stderr, "%s; to mend: %s\n", p.what, p.mend[0] != '\0' ? p.mend : "(none)");
    return err == LM_OK ? 0 : 4;
}

static int run(const struct yard *y, const struct deed *d)
{
    char path[160];
    in(path, sizeof path, y->dir, "register.db");
    if (d->words[0] == NULL) {
        return session(path, y->told);
    }
    char *argv[WORDS_MAX + 4] = {0};
    char name[] = "lugmark", db[] = "--db";
    int argc = 0;
    argv[argc++] = name;
    argv[argc++] = (char *) (uintptr_t) d->words[0];
    argv[argc++] = db;
    argv[argc++] = path;
    for (int i = 1; i < WORDS_MAX && d->words[i] != NULL; i++)
        argv[argc++] = (char *) (uintptr_t) d->words[i];
    return lm_cli_main(argc, argv);
}

/* Do it in a child, with call @p at failing. *calls: how many there were. @return wait status. */
static int attempt(struct yard *y, const struct deed *d, enum nth_kind kind, unsigned long at,
    unsigned long *calls)
{
    char path[160];
    int status = 0, fd;
    fflush(NULL);
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        if (chdir(y->dir) != 0)
            _exit(90);
        fd = open("out", O_RDWR | O_CREAT | O_TRUNC, 0600);
        dup2(fd, 1);
        fd = open("err", O_RDWR | O_CREAT | O_TRUNC, 0600);
        dup2(fd, 2);
        y->told = open("told", O_RDWR | O_CREAT | O_TRUNC, 0600);
        nth_arm(kind, at);
        int code = run(y, d);
        unsigned long n = nth_disarm();
        fd = open("calls", O_RDWR | O_CREAT | O_TRUNC, 0600);
        if (pwrite(fd, &n, sizeof n, 0) != sizeof n)
            _exit(91);
        exit(code);
    }
    assert_int_equal(waitpid(child, &status, 0), child);
    in(path, sizeof path, y->dir, "err");
    fd = open(path, O_RDONLY);
    ssize_t len = fd >= 0 ? read(fd, y->said, sizeof y->said - 1) : 0;
    y->said[len > 0 ? len : 0] = '\0';
    close(fd);
    in(path, sizeof path, y->dir, "calls");
    fd = open(path, O_RDONLY);
    *calls = 0;
    if (fd >= 0 && pread(fd, calls, sizeof *calls, 0) != sizeof *calls)
        *calls = 0;
    close(fd);
    return status;
}

static void clear(const char *dir)
{
    char path[400];
    DIR *d = opendir(dir);
    for (struct dirent *e; d != NULL && (e = readdir(d)) != NULL;) {
        snprintf(path, sizeof path, "%s/%s", dir, e->d_name);
        if (e->d_name[0] != '.')
            remove(path);
    }
    closedir(d);
}

static void prepare(struct yard *y, const struct deed *d)
{
    clear(y->dir);
    if (d->from != NULL)
        copy(y->home, d->from, y->dir, "register.db");
    copy(y->home, "register.csv", y->dir, "register.csv");
    copy(y->home, "stock.csv", y->dir, "stock.csv");
    if (strstr(d->name, "bundle") != NULL && !d->reads)
        copy(y->home, "more.bundle", y->dir, "more.bundle");
}

/* Go on after a fault: the others are worth knowing, too. */
static void complain(struct yard *y, const char *fmt, ...) __attribute__((format(printf, 2, 3)));
static void complain(struct yard *y, const char *fmt, ...)
{
    char text[1024];
    va_list ap;
    va_start(ap, fmt);
    vsnprintf(text, sizeof text, fmt, ap);
    va_end(ap);
    if (y->faults++ < 60)
        print_message("# FAULT %s\n", text);
}

/* --- what is there afterwards --- */

struct state {
    int64_t seq, stock;
    uint32_t animals;
    uint64_t sum; /* of all entries */
};

static enum lm_err add_entry(const struct lm_record *rec, long line, void *ctx)
{
    struct state *st = ctx;
    char *text = lm_record_json(rec);
    (void) line;
    for (const char *at = text; *at != '\0'; at++)
        st->sum = (st->sum ^ (unsigned char) *at) * UINT64_C(0x100000001b3);
    free(text);
    return LM_OK;
}

static struct state state_of(struct yard *y, const char *path, const char *after)
{
    struct state st = {.sum = UINT64_C(0xcbf29ce484222325)};
    struct lm_store *s = NULL;
    struct lm_problem p;
    if (access(path, F_OK) != 0)
        return (struct state){.seq = -1};
    enum lm_err err = lm_store_open(path, LM_STORE_WRITE, &s, &p);
    if (err == LM_EINPUT && strstr(p.what, "an empty file") != NULL)
        return (struct state){.seq = -1}; /* made, and nothing in it yet: init goes on with it */
    if (err != LM_OK)
        complain(y, "%s: %s", after, p.what);
    if (err != LM_OK)
        return st;
    if (lm_store_verify(s, tell, NULL) != LM_OK)
        complain(y, "%s: the register is not sound", after);
    st.seq = lm_store_last_seq(s);
    st.animals = lm_store_animals(s);
    assert_int_equal(lm_store_each(s, add_entry, &st), LM_OK);
    sqlite3_stmt *stock = lm_store_prepare(s, "SELECT count(*) FROM stock");
    assert_int_equal(sqlite3_step(stock), SQLITE_ROW);
    st.stock = sqlite3_column_int64(stock, 0);
    sqlite3_finalize(stock);
    lm_store_close(s);
    return st;
}

static bool same(struct state a, struct state b)
{
    return a.seq == b.seq && a.animals == b.animals && a.stock == b.stock && a.sum == b.sum;
}

static int64_t told_of(const struct yard *y)
{
    char path[160];
    int64_t seq = 0;
    in(path, sizeof path, y->dir, "told");
    int fd = open(path, O_RDONLY);
    if (fd >= 0 && pread(fd, &seq, sizeof seq, 0) != sizeof seq)
        seq = 0;
    close(fd);
    return seq;
}

static void check_made(struct yard *y, const struct deed *d, bool good, const char *what)
{
    char path[160];
    struct stat sb, want;
    in(path, sizeof path, y->dir, d->makes);
    bool there = stat(path, &sb) == 0;
    if (good && !there)
        complain(y, "%s: %s is %sthere", what, d->makes, there ? "" : "not ");
    if (!there)
        return;
    if (strstr(d->makes, ".db") != NULL) {
        state_of(y, path, what);
    } else {
        in(path, sizeof path, y->home, d->makes);
        assert_int_equal(stat(path, &want), 0);
        if (strcmp(d->makes, "made.csv") == 0 && sb.st_size != want.st_size)
            complain(y, "%s: the file is cut", what);
    }
}

struct outcome {
    struct state before, after;
    int good; /* exit status when nothing fails */
};

static void check(
    struct yard *y, const struct deed *d, const struct outcome *o, int status, const char *what)
{
    char path[160];
    if (!WIFEXITED(status))
        complain(y, "%s: died of signal %d\n%s", what, WTERMSIG(status), y->said);
    int code = WEXITSTATUS(status);
    if (strstr(y->said, "Sanitizer") != NULL || strstr(y->said, "runtime error") != NULL)
        complain(y, "%s: %s", what, y->said);
    bool good = code == o->good;
    if (!good && code != 3 && code != 4)
        complain(y, "%s: exit %d: %s", what, code, y->said);
    if (!good && (strstr(y->said, "to mend: ") == NULL || strstr(y->said, "(none)")))
        complain(y, "%s: exit %d without a word how to mend it: %s", what, code, y->said);
    in(path, sizeof path, y->dir, "register.db");
    struct state st = state_of(y, path, what);
    if (d->words[0] == NULL) {
        if (st.seq < told_of(y))
            complain(
                y, "%s: told of %lld, kept %lld", what, (long long) told_of(y), (long long) st.seq);
    } else if (good && !same(st, o->after)) {
        complain(y, "%s: said to be done, and is not", what);
    } else if (!same(st, o->before) && !same(st, o->after)) {
        complain(
            y, "%s: neither as before nor as it was to be: %lld events", what, (long long) st.seq);
    }
    if (d->makes != NULL)
        check_made(y, d, good, what);
}

static struct outcome expected(struct yard *y, const struct deed *d)
{
    struct outcome o = {0};
    char path[160];
    unsigned long calls;
    in(path, sizeof path, y->dir, "register.db");
    prepare(y, d);
    o.before = state_of(y, path, d->name);
    prepare(y, d);
    int status = attempt(y, d, NTH_MEMORY, 0, &calls);
    o.good = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
    if (o.good != 0 && o.good != 1)
        fail_msg("%s: %d: %s", d->name, status, y->said);
    o.after = state_of(y, path, d->name);
    if (same(o.before, o.after) == !d->reads)
        fail_msg("%s changed %s", d->name, d->reads ? "something" : "nothing");
    if (d->makes != NULL)
        copy(y->dir, d->makes, y->home, d->makes);
    return o;
}

static unsigned long stride(unsigned long calls)
{
    const char *every = getenv("LUGMARK_EVERY");
    if (every != NULL)
        return strtoul(every, NULL, 10);
    return calls / 3 + 1;
}

static void make_templates(struct yard *y)
{
    char path[160];
    unsigned long calls;
    static const struct deed steps[] = {
        {"init", NULL, {"init"}, NULL, false},
        {"import", NULL, {"import", "register.csv"}, NULL, false},
        {"stock", NULL, {"stock", "import", "more.csv"}, NULL, false},
        {"session", NULL, {NULL}, NULL, false},
        {"edit", NULL, {"edit", "A5", "--breed", "boer"}, NULL, false},
        {"bundle", NULL, {"export", "--bundle", "more.bundle"}, NULL, false},
    };
    static const char *const keep[] = {"empty.db", "less.db", NULL, NULL, "full.db", NULL};
    char csv[4096] = "animal,species,sex,mob,status,form,place,colour,official,eid,visual\n";
    for (unsigned i = 1; i <= 12; i++)
        snprintf(csv + strlen(csv), sizeof csv - strlen(csv),
            "A%u,goat,female,does,on-farm,flag tag,left ear,yellow,yes,9990000000000%02u,%04u\n", i,
            i, i);
    text_file(y->home, "register.csv", csv);
    text_file(y->home, "stock.csv",
        "strip,position,eid,visual,form,colour,official,received\n"
        "S1,1,999000000000501,0501,flag tag,yellow,yes,2026-01-02\n"
        "S1,2,999000000000502,0502,flag tag,yellow,yes,2026-01-02\n");
    copy(y->home, "register.csv", y->dir, "register.csv");
    text_file(y->dir, "more.csv",
        "strip,position,eid,visual,form,colour,official,received\n"
        "S0,1,999000000000401,0401,flag tag,yellow,yes,2026-01-02\n");
    for (size_t i = 0; i < sizeof steps / sizeof steps[0]; i++) {
        int status = attempt(y, &steps[i], NTH_MEMORY, 0, &calls);
        if (!WIFEXITED(status) || WEXITSTATUS(status) > 1)
            fail_msg("template %s: %d %s", steps[i].name, status, y->said);
        in(path, sizeof path, y->dir, "register.db");
        if (keep[i] != NULL)
            copy(y->dir, "register.db", y->home, keep[i]);
    }
    copy(y->dir, "more.bundle", y->home, "more.bundle");
}

static int setup(void **state)
{
    struct yard *y = calloc(1, sizeof *y);
    /* In memory where that can be: no disk has to be waited for. */
    snprintf(y->home, sizeof y->home, "%s/lm-nth-XXXXXX",
        access("/dev/shm", W_OK | X_OK) == 0 ? "/dev/shm" : "/tmp");
    assert_non_null(mkdtemp(y->home));
    snprintf(y->dir, sizeof y->dir, "%s/yard", y->home);
    assert_int_equal(mkdir(y->dir, 0700), 0);
    make_templates(y);
    *state = y;
    return 0;
}

static int teardown(void **state)
{
    struct yard *y = *state;
    clear(y->dir);
    rmdir(y->dir);
    clear(y->home);
    rmdir(y->home);
    free(y);
    return 0;
}

static void test_each_call_fails_once(void **state)
{
    struct yard *y = *state;
    const char *only = getenv("LUGMARK_DEED");
    for (size_t i = 0; i < sizeof deeds / sizeof deeds[0]; i++) {
        const struct deed *d = &deeds[i];
        if (only != NULL && strcmp(only, d->name) != 0)
            continue;
        struct outcome o = expected(y, d);
        for (enum nth_kind kind = NTH_MEMORY; kind < NTH_KINDS; kind++) {
            unsigned long calls = 0, tried = 0, ended = 0, some;
            char what[80];
            prepare(y, d);
            attempt(y, d, kind, 0, &calls);
            assert_true(calls > 3);
            for (unsigned long at = 1; at <= calls; at += stride(calls)) {
                prepare(y, d);
                int status = attempt(y, d, kind, at, &some);
                snprintf(what, sizeof what, "%s, %s call %lu of %lu", d->name, nth_kind_name(kind),
                    at, calls);
                check(y, d, &o, status, what);
                tried++;
                ended += WEXITSTATUS(status) != o.good ? 1 : 0;
            }
            print_message("# %-13s %-6s %5lu calls, %5lu failed in turn: %5lu ended with a "
                          "message, %4lu did without\n",
                d->name, nth_kind_name(kind), calls, tried, ended, tried - ended);
        }
    }
    assert_int_equal(y->faults, 0);
}

int main(void)
{
    nth_install();
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_each_call_fails_once, setup, teardown),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
