/*
 * Whole explanations of small musters, held to what tests/unit/test_explain_stories.txt says of
 * them: each line of it was looked at when it was written. After a change that is meant,
 * `./test_explain_stories write` in the root of the tree writes what is said now: look at the
 * difference.
 */
#include "flock.h"
#include "lugmark/explain.h"

#include <stdlib.h>

#define FILE_NAME "tests/unit/test_explain_stories.txt"
#define MOST 256

/** What the lines of a story made. */
struct muster {
    struct lm_roll *roll;
    struct lm_session *s;
    struct lm_explain_options options;
    struct lm_explain_stock stock[MOST];
    struct lm_explain_life lives[4];
    struct lm_life_step steps[4][8];
    struct lm_explain_beside beside[MOST];
    char texts[2 * MOST][LM_VISUAL_MAX + 1];
    unsigned n_texts;
    int64_t now, step;
    char lane[8];
};

static struct lm_eid code_of(const char *text)
{
    struct lm_eid eid = {0};
    unsigned long long bits = strtoull(text, NULL, 16);
    const char *dot = strchr(text, '.');
    if (strcmp(text, "-") == 0)
        return eid;
    if (text[0] == 'x') { /* all 64 bits */
        bits = strtoull(text + 1, NULL, 16);
        return (struct lm_eid){.bits = bits, .known = LM_EID_FULL};
    }
    unsigned country = dot ? (unsigned) atoi(text) : 999;
    assert_int_equal(lm_eid_make(country, strtoull(dot ? dot + 1 : text, NULL, 10), &eid), LM_OK);
    return eid;
}

static const char *kept(struct muster *y, const char *text)
{
    assert_true(y->n_texts < 2 * MOST);
    snprintf(y->texts[y->n_texts], sizeof y->texts[0], "%s", strcmp(text, "-") ? text : "");
    return y->texts[y->n_texts++];
}

static void session(struct muster *y)
{
    if (y->s)
        return;
    lm_roll_expect_mob(y->roll, NULL);
    y->s = lm_session_new(y->roll, NULL);
    assert_non_null(y->s);
}

/** animal KEY CODE NUMBER [mob=M] [dam=K] [days=N] [form=N] [also=CODE]: days it has been on. */
static void animal(struct muster *y, char **word, int n)
{
    struct lm_record rec = animal_of(word[0], 0, strcmp(word[2], "-") ? word[2] : "");
    rec.devices[0].eid = code_of(word[1]);
    for (int i = 3; i < n; i++) {
        const char *value = strchr(word[i], '=') + 1;
        if (strncmp(word[i], "mob", 3) == 0)
            snprintf(rec.mob, sizeof rec.mob, "%s", value);
        else if (strncmp(word[i], "dam", 3) == 0)
            snprintf(rec.dam, sizeof rec.dam, "%s", value);
        else if (strncmp(word[i], "days", 4) == 0)
            rec.devices[0].applied = lm_date_of(y->now - atol(value) * 86400000L);
        else if (strncmp(word[i], "form", 4) == 0)
            rec.devices[0].form = (uint8_t) atoi(value);
        else if (strncmp(word[i], "also", 4) == 0) {
            rec.devices[rec.n_devices].eid = code_of(value);
            rec.devices[rec.n_devices++].form = LM_BOLUS;
        } else
            fail_msg("%s", word[i]);
    }
    put(y->roll, rec);
}

/** flock N FIRST NUMBER [as for animal]: A1 up, codes and numbers one after another. herd: B1 up.
 */
static void flock(struct muster *y, char letter, char **word, int n)
{
    char key[16], code[16], number[16];
    for (int i = 1; i <= atoi(word[0]); i++) {
        snprintf(key, sizeof key, "%c%d", letter, i);
        snprintf(code, sizeof code, "%d", atoi(word[1]) + i);
        snprintf(number, sizeof number, "%04d", atoi(word[2]) + i);
        char *one[16] = {key, code, number};
        for (int k = 3; k < n && k < 16; k++)
            one[k] = word[k];
        animal(y, one, n);
    }
}

static void stock(struct muster *y, char **word)
{
    y->stock[y->options.n_stock++] = (struct lm_explain_stock){
        kept(y, word[0]), (uint32_t) atoi(word[1]), code_of(word[2]), kept(y, word[3])};
    y->options.stock = y->stock;
}

/** strip NAME N FIRST NUMBER: N devices one after another; NUMBER - for none printed. */
static void strip(struct muster *y, char **word)
{
    char at[16], code[16], number[16];
    for (int i = 1; i <= atoi(word[1]); i++) {
        snprintf(at, sizeof at, "%d", i);
        snprintf(code, sizeof code, "%d", atoi(word[2]) + i);
        snprintf(number, sizeof number, "%04d", atoi(word[3]) + i);
        char *one[] = {word[0], at, code, strcmp(word[3], "-") ? number : word[3]};
        stock(y, one);
    }
}

/** life STRIP FORM DEVICES ENDED UNTIL [T AT_RISK ENDED]... */
static void life(struct muster *y, char **word, int n)
{
    uint32_t k = y->options.n_lives++;
    size_t steps = 0;
    for (int i = 5; i + 2 < n; i += 3)
        y->steps[k][steps++] = (struct lm_life_step){.t = atof(word[i]),
            .at_risk = (uint32_t) atoi(word[i + 1]),
            .ended = (uint32_t) atoi(word[i + 2])};
    y->lives[k] = (struct lm_explain_life){.strip = kept(y, word[0]),
        .form = (uint8_t) atoi(word[1]),
        .place = LM_EXPLAIN_ANY,
        .devices = (uint32_t) atoi(word[2]),
        .ended = (uint32_t) atoi(word[3]),
        .until = atof(word[4]),
        .steps = y->steps[k],
        .n = steps};
    y->options.lives = y->lives;
}

static void history(struct muster *y, char **w)
{
    y->options.history = (struct lm_explain_history){.sessions = (uint32_t) atoi(w[0]),
        .expected = atof(w[1]),
        .absent = atof(w[2]),
        .dead = atof(w[3]),
        .fresh = atof(w[4]),
        .stranger = atof(w[5]),
        .calls = atof(w[6]),
        .misread = atof(w[7])};
}

static void beside(struct muster *y, const char *a, const char *b)
{
    y->beside[y->options.n_beside++] =
        (struct lm_explain_beside){lm_roll_by_key(y->roll, a), lm_roll_by_key(y->roll, b)};
    y->options.beside = y->beside;
}

/** read CODE..., FROM-TO for a stretch. */
static void reads(struct muster *y, char **word, int n)
{
    for (int i = 0; i < n; i++) {
        char *dash = strchr(word[i], '-');
        unsigned long from = strtoul(word[i], NULL, 10);
        unsigned long to = dash ? strtoul(dash + 1, NULL, 10) : from;
        if (!dash) {
            apply(y->s, reading_at(y->now, y->lane, code_of(word[i])));
            y->now += y->step;
        }
        for (unsigned long k = from; dash && k <= to; k++) {
            read_at(y->s, y->now, (unsigned) k);
            y->now += y->step;
        }
    }
}

static void obey(struct muster *y, char *line)
{
    char *word[16], *rest = line;
    int n = 0;
    for (char *w = strtok_r(line, " \n", &rest); w && n < 16; w = strtok_r(NULL, " \n", &rest))
        word[n++] = w;
    if (!n)
        return;
    bool walk = strcmp(word[0], "read") == 0 || strcmp(word[0], "call") == 0 ||
                strcmp(word[0], "heads") == 0;
    if (walk)
        session(y);
    if (strcmp(word[0], "animal") == 0)
        animal(y, word + 1, n - 1);
    else if (strcmp(word[0], "flock") == 0)
        flock(y, 'A', word + 1, n - 1);
    else if (strcmp(word[0], "herd") == 0)
        flock(y, 'B', word + 1, n - 1);
    else if (strcmp(word[0], "stock") == 0)
        stock(y, word + 1);
    else if (strcmp(word[0], "strip") == 0)
        strip(y, word + 1);
    else if (strcmp(word[0], "life") == 0)
        life(y, word + 1, n - 1);
    else if (strcmp(word[0], "history") == 0)
        history(y, word + 1);
    else if (strcmp(word[0], "interval") == 0)
        y->options.interval = atof(word[1]);
    else if (strcmp(word[0], "least") == 0)
        y->options.least = atof(word[1]);
    else if (strcmp(word[0], "pause") == 0)
        y->now += atol(word[1]);
    else if (strcmp(word[0], "beside") == 0)
        beside(y, word[1], word[2]);
    else if (strcmp(word[0], "read") == 0)
        reads(y, word + 1, n - 1);
    else if (strcmp(word[0], "call") == 0)
        apply(y->s, call_at(y->now, word[1], n > 2 ? code_of(word[2]) : (struct lm_eid){0}));
    else if (strcmp(word[0], "lane") == 0)
        snprintf(y->lane, sizeof y->lane, "%s", word[1]);
    else if (strcmp(word[0], "heads") == 0)
        apply(y->s, heads_of((uint32_t) atoi(word[1])));
    else
        fail_msg("%s", word[0]);
}

static void tell_one(FILE *out, const struct lm_roll *roll, const struct lm_explanation *e)
{
    char code[LM_EID_TEXT_SIZE];
    fprintf(out, "= %.3f %s%s", e->probability, lm_explain_kind_name(e->kind), e->best ? "!" : "");
    for (uint32_t i = 0; i < e->n_animals; i++)
        fprintf(out, " %s", lm_roll_animal(roll, e->animals[i]).key);
    for (uint32_t i = 0; i < e->n_eid; i++)
        fprintf(out, " %s", lm_eid_format(e->eid[i], code));
    if (e->sighting)
        fprintf(out, " called %s", e->sighting);
    if (e->as)
        fprintf(out, " for %s", e->as);
    if (e->printed)
        fprintf(out, " printed %s", e->printed);
    if (e->offset)
        fprintf(out, " out by %d", e->offset);
    fputc('\n', out);
    for (uint32_t i = 0; i < e->n_because; i++)
        fprintf(out, "=   %s\n", e->because[i]);
}

/** What is said of the muster, and free it. */
static void tell_all(FILE *out, struct muster *y)
{
    struct lm_explain *x = NULL;
    struct lm_explain_history t = {0};
    char basis[LM_EXPLAIN_BASIS_MAX];
    session(y);
    apply(y->s, plain(LM_EVENT_CLOSE));
    assert_int_equal(lm_explain(y->s, &y->options, &x), LM_OK);
    for (uint32_t i = 0; i < lm_explain_count(x); i++)
        tell_one(out, y->roll, lm_explain_at(x, i));
    lm_explain_tally(x, &t);
    fprintf(out, "= tally %u: %.0f expected, %.4f absent, %.4f dead, %.4f fresh, %.4f strangers",
        t.sessions, t.expected, t.absent, t.dead, t.fresh, t.stranger);
    fprintf(
        out, "; %.0f calls, %.4f misread\n= %s\n", t.calls, t.misread, lm_explain_basis(x, basis));
    lm_explain_free(x);
    lm_session_free(y->s);
    lm_roll_free(y->roll);
    free(y);
}

static struct muster *new_muster(void)
{
    struct muster *y = calloc(1, sizeof *y);
    assert_non_null(y);
    y->roll = lm_roll_new();
    assert_non_null(y->roll);
    y->now = 20000 * INT64_C(86400000);
    y->step = 2000;
    snprintf(y->lane, sizeof y->lane, "1");
    return y;
}

/** The whole file, with what is said now in place of the lines that begin with "=". */
static char *told(void)
{
    char *text = NULL, line[1024];
    size_t size = 0;
    FILE *in = fopen(FILE_NAME, "r"), *out = open_memstream(&text, &size);
    struct muster *y = NULL;
    if (!in)
        fail_msg("%s is not there: run the tests in the root of the tree", FILE_NAME);
    while (fgets(line, sizeof line, in)) {
        if (line[0] == '=')
            continue;
        if (y && line[0] == '\n') {
            tell_all(out, y);
            y = NULL;
        }
        fputs(line, out);
        if (line[0] == '#' || line[0] == '\n')
            continue;
        y = y ? y : new_muster();
        obey(y, line);
    }
    if (y)
        tell_all(out, y);
    fclose(in);
    fclose(out);
    return text;
}

static void every_story(void **state)
{
    (void) state;
    char *now = told(), *rest = now, line[1024];
    unsigned at = 0, stories = 0;
    FILE *in = fopen(FILE_NAME, "r");
    assert_non_null(in);
    while (fgets(line, sizeof line, in)) {
        size_t n = strcspn(rest, "\n");
        at++;
        stories += strncmp(line, "= tally", 7) == 0;
        line[strcspn(line, "\n")] = '\0';
        if (strlen(line) != n || strncmp(line, rest, n) != 0)
            fail_msg("%s:%u:\nwritten: %s\n    now: %.*s", FILE_NAME, at, line, (int) n, rest);
        rest += n + (rest[n] == '\n');
    }
    fclose(in);
    assert_string_equal(rest, "");
    assert_true(stories >= 20);
    free(now);
}

int main(int argc, char **argv)
{
    const struct CMUnitTest tests[] = {cmocka_unit_test(every_story)};
    if (argc > 1 && strcmp(argv[1], "write") == 0) {
        char *now = told();
        FILE *out = fopen(FILE_NAME, "w");
        if (out)
            fputs(now, out);
        free(now);
        return out && fclose(out) == 0 ? 0 : 1;
    }
    return cmocka_run_group_tests(tests, NULL, NULL);
}
