/* A mapping from its file: INI for people, strict, every mistake told with its line. */
#include "regcsv_map.h"

#include <errno.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

#define LINE_MAX_BYTES 1024u

enum { SECTION_NONE = -1, SECTION_FILE = -2, SECTION_COLUMNS = -3, SECTION_CONSTANTS = -4 };

struct reading {
    struct lm_regcsv_map *map;
    lm_problem_fn *problem;
    void *ctx;
    long line;
    int section; /* one of the above, or the column whose words are named */
    unsigned long problems;
};

__attribute__((format(printf, 3, 4))) static void bad(
    struct reading *r, const char *mend, const char *fmt, ...)
{
    struct lm_problem p = {0};
    char what[LM_PROBLEM_TEXT_MAX];
    va_list ap;

    va_start(ap, fmt);
    vsnprintf(what, sizeof what, fmt, ap);
    va_end(ap);
    snprintf(p.file, sizeof p.file, "%s", r->map->name);
    p.line = r->line;
    lm_problem_set(&p, LM_EINPUT, mend, "%s", what);
    r->problems++;
    if (r->problem)
        r->problem(&p, r->ctx);
}

/* Our column of this name; COL_COUNT after telling that there is none. */
static enum regcsv_col field_named(struct reading *r, const char *word)
{
    enum regcsv_col col = lm_regcsv_col_named(word);
    char mend[LM_PROBLEM_TEXT_MAX];
    const char *near;
    size_t used = 0;

    if (col != COL_COUNT)
        return col;
    near = lm_regcsv_col_nearest(word);
    if (near)
        used = (size_t) snprintf(mend, sizeof mend, "did you mean %s? ", near);
    used += (size_t) snprintf(mend + used, sizeof mend - used, "our columns are");
    for (int c = 0; c < COL_COUNT && used < sizeof mend; c++)
        used += (size_t) snprintf(mend + used, sizeof mend - used, "%s%s", c ? ", " : " ",
            lm_regcsv_col_name((enum regcsv_col) c));
    bad(r, mend, "we have no column %.60s", word);
    return COL_COUNT;
}

static const char *word_mend(enum regcsv_col col)
{
    switch ((int) col) {
    case COL_EID:
    case COL_EID_TEXT:
    case COL_UID:
        return "a word can only stand for nothing there: leave the right side empty";
    case COL_BORN:
    case COL_APPLIED:
    case COL_REMOVED:
    case COL_STATUS_DATE:
        return "write 2026-03-28, 2026-03 or 2026";
    default:
        return lm_regcsv_is_text(col) ? "shorten it" : lm_regcsv_allowed(col);
    }
}

/* Whether a word of ours can stand in a column; tells why not. */
static bool check_word(struct reading *r, enum regcsv_col col, const char *word)
{
    struct lm_date date;
    uint8_t value;
    bool yes, good = true;

    if (!word[0])
        return true;
    switch ((int) col) {
    case COL_SEX:
    case COL_STATUS:
    case COL_FORM:
    case COL_PLACE:
        good = lm_regcsv_parse_word(col, word, &value);
        break;
    case COL_OFFICIAL:
    case COL_CASTRATED:
        good = lm_regcsv_parse_yes(col, word, &yes);
        break;
    case COL_BORN:
    case COL_APPLIED:
    case COL_REMOVED:
    case COL_STATUS_DATE:
        good = lm_date_parse(word, strlen(word), &date) == LM_OK ||
               (col == COL_REMOVED && lm_word_is(word, "unknown"));
        break;
    default:
        good = lm_regcsv_is_text(col) && col != COL_UID && strlen(word) <= lm_regcsv_limit(col);
        break;
    }
    if (!good)
        bad(r, word_mend(col), "%s cannot be %.60s", lm_regcsv_col_name(col), word);
    return good;
}

static void take_file_key(struct reading *r, const char *key, const char *value)
{
    static const char *const orders[] = {"", "dmy", "mdy", "ymd"};

    if (lm_word_is(key, "dates") && r->map->order != 0) {
        bad(r, "keep one of the two lines", "the order of dates is said already");
    } else if (lm_word_is(key, "dates")) {
        for (int i = ORDER_DMY; i <= ORDER_YMD; i++)
            if (lm_word_is(value, orders[i])) {
                r->map->order = (enum regcsv_order) i;
                return;
            }
        bad(r, "write dmy, mdy or ymd", "dates cannot be %.60s", value);
    } else if (lm_word_is(key, "others")) {
        r->map->others_ignored = lm_word_is(value, "ignore");
        if (!r->map->others_ignored && !lm_word_is(value, "refuse"))
            bad(r, "write refuse or ignore", "others cannot be %.60s", value);
    } else {
        bad(r, "under [file] there can be dates and others", "nothing is called %.60s here", key);
    }
}

static void add_pair(struct reading *r, struct regcsv_list *list, enum regcsv_col col,
    const char *their, const char *ours)
{
    struct regcsv_pair *p = lm_stage_more(list, sizeof *p);

    if (!p) {
        bad(r, NULL, "out of memory");
        return;
    }
    memset(p, 0, sizeof *p);
    snprintf(p->their, sizeof p->their, "%s", their);
    snprintf(p->ours, sizeof p->ours, "%s", ours);
    p->line = r->line;
    p->col = (uint8_t) col;
}

static void take_column(struct reading *r, const char *their, const char *ours)
{
    const struct regcsv_pair *pairs = r->map->columns.items;
    bool ignore = lm_word_is(ours, "ignore");
    enum regcsv_col col = ignore ? COL_IGNORED : field_named(r, ours);

    if (!ignore && col == COL_COUNT)
        return;
    for (uint32_t i = 0; i < r->map->columns.n; i++) {
        if (lm_word_is(pairs[i].their, their)) {
            bad(r, "keep one of the two lines", "%.60s is named on line %ld already", their,
                pairs[i].line);
            return;
        }
        if (!ignore && pairs[i].col == col) {
            bad(r, "say that one of the two is = ignore",
                "%s is %.60s already, on line %ld: two columns cannot both be it", ours,
                pairs[i].their, pairs[i].line);
            return;
        }
    }
    if (!ignore && r->map->constant_line[col])
        bad(r, "keep one of the two lines", "%s is a constant already, on line %ld", ours,
            r->map->constant_line[col]);
    else
        add_pair(r, &r->map->columns, col, their, "");
}

static void take_constant(struct reading *r, const char *field, const char *value)
{
    enum regcsv_col col = field_named(r, field);
    const struct regcsv_pair *pairs = r->map->columns.items;

    if (col == COL_COUNT)
        return;
    if (col == COL_ANIMAL || col == COL_EID || col == COL_VISUAL || col == COL_UID ||
        col == COL_EID_TEXT) {
        bad(r, "map a column of the file on it, under [columns]",
            "%s tells animals apart: it cannot be the same in each row", field);
        return;
    }
    for (uint32_t i = 0; i < r->map->columns.n; i++)
        if (pairs[i].col == col) {
            bad(r, "keep one of the two lines", "%s is column %.60s already, on line %ld", field,
                pairs[i].their, pairs[i].line);
            return;
        }
    if (r->map->constant_line[col]) {
        bad(r, "keep one of the two lines", "%s is a constant already, on line %ld", field,
            r->map->constant_line[col]);
    } else if (check_word(r, col, value)) {
        snprintf(r->map->constant[col], sizeof r->map->constant[col], "%s", value);
        r->map->constant_line[col] = r->line;
    }
}

static void take_word(struct reading *r, enum regcsv_col col, const char *their, const char *ours)
{
    const struct regcsv_pair *pairs = r->map->words.items;

    for (uint32_t i = 0; i < r->map->words.n; i++)
        if (pairs[i].col == col && lm_word_is(pairs[i].their, their)) {
            bad(r, "keep one of the two lines", "%.60s is named on line %ld already", their,
                pairs[i].line);
            return;
        }
    if (check_word(r, col, ours))
        add_pair(r, &r->map->words, col, their, ours);
}

static void take_section(struct reading *r, char *line)
{
    char *end = strchr(line, ']');
    enum regcsv_col col;

    r->section = SECTION_NONE;
    if (!end || end[1]) {
        bad(r, "write it as [columns]", "a section without its closing ], or with text after it");
        return;
    }
    *end = '\0';
    if (lm_word_is(line + 1, "file"))
        r->section = SECTION_FILE;
    else if (lm_word_is(line + 1, "columns"))
        r->section = SECTION_COLUMNS;
    else if (lm_word_is(line + 1, "constants"))
        r->section = SECTION_CONSTANTS;
    else if ((col = lm_regcsv_col_named(line + 1)) != COL_COUNT)
        r->section = (int) col;
    else
        bad(r,
            "there can be [file], [columns], [constants], and one for each of our columns "
            "whose words differ, such as [sex]",
            "no section is called %.60s", line + 1);
}

static char *trimmed(char *s)
{
    size_t n;

    s += strspn(s, " ");
    n = strlen(s);
    while (n && s[n - 1] == ' ')
        s[--n] = '\0';
    return s;
}

/* Take a name in quotes off the front. @return What follows it, NULL when the quote stays open. */
static char *unquote(char *s, char **text)
{
    char *to = s;

    *text = s;
    for (s++; *s; s++) {
        if (*s == '"' && s[1] != '"') {
            char *after = s + 1;
            *to = '\0';
            return after;
        }
        s += *s == '"';
        *to++ = *s;
    }
    return NULL;
}

static void take_pair(struct reading *r, char *line)
{
    char *key = line, *equals = line, *value, *remark;

    if (line[0] == '"')
        equals = unquote(line, &key);
    equals = equals ? strchr(equals, '=') : NULL;
    if (!equals) {
        bad(r, "write theirs = ours, or put a ; before a remark",
            "this line is neither a section nor a pair");
        return;
    }
    *equals = '\0';
    if (key == line && line[0] != '"')
        key = trimmed(key);
    value = equals + 1 + strspn(equals + 1, " ");
    if (value[0] == '"') {
        if (!unquote(value, &value)) {
            bad(r, "close the quote", "a quote stays open");
            return;
        }
    } else {
        remark = value[0] == ';' ? value : strstr(value, " ;");
        if (remark)
            *remark = '\0';
        value = trimmed(value);
    }
    if (!key[0] || strlen(key) > LM_VISUAL_MAX || strlen(value) > LM_VISUAL_MAX)
        bad(r, "name it", "nothing stands before the =, or a name is longer than %u bytes",
            LM_VISUAL_MAX);
    else if (r->section == SECTION_FILE)
        take_file_key(r, key, value);
    else if (r->section == SECTION_COLUMNS)
        take_column(r, key, value);
    else if (r->section == SECTION_CONSTANTS)
        take_constant(r, key, value);
    else if (r->section >= 0)
        take_word(r, (enum regcsv_col) r->section, key, value);
    else if (r->problems == 0)
        bad(r, "put a heading such as [columns] above it", "this line stands in no section");
}

static void take_line(struct reading *r, char *line, size_t n)
{
    if (n && line[n - 1] == '\r')
        line[--n] = '\0';
    if (r->line == 1 && n >= 3 && !memcmp(line, REGCSV_BOM, 3)) {
        line += 3;
        n -= 3;
    }
    for (char *c = line; (c = memchr(c, '\t', n - (size_t) (c - line))) != NULL;)
        *c = ' ';
    if (n > LINE_MAX_BYTES) {
        bad(r, "shorten it", "the line is longer than %u bytes", LINE_MAX_BYTES);
        return;
    }
    if (n && !lm_text_clean(line, n)) {
        bad(r, "save the mapping as UTF-8 text", "the line is not clean UTF-8 text");
        return;
    }
    line = trimmed(line);
    if (line[0] == '[')
        take_section(r, line);
    else if (line[0] && line[0] != ';' && line[0] != '#')
        take_pair(r, line);
}

/* One line without its end. @return false at the end of the file. */
static bool next_line(struct reading *r, FILE *in)
{
    char line[LINE_MAX_BYTES + 2];
    size_t n = 0, kept;
    int c;

    while ((c = getc(in)) != EOF && c != '\n') {
        if (n <= LINE_MAX_BYTES)
            line[n] = (char) c;
        n++;
    }
    if (c == EOF && n == 0)
        return false;
    kept = n > LINE_MAX_BYTES ? LINE_MAX_BYTES + 1 : n;
    line[kept] = '\0';
    r->line++;
    take_line(r, line, kept);
    return true;
}

enum lm_err lm_regcsv_map_read(
    FILE *in, const char *name, lm_problem_fn *problem, void *ctx, struct lm_regcsv_map **map)
{
    struct reading r = {.problem = problem, .ctx = ctx, .section = SECTION_NONE};

    *map = NULL;
    r.map = calloc(1, sizeof *r.map);
    if (!r.map)
        return LM_ENOMEM;
    snprintf(r.map->name, sizeof r.map->name, "%s", name);
    while (r.line < (long) LM_REGCSV_MAP_LINES && next_line(&r, in))
        continue;
    if (ferror(in))
        bad(&r, "check that it is a file", "cannot be read: %s", strerror(errno));
    else if (r.line >= (long) LM_REGCSV_MAP_LINES && getc(in) != EOF)
        bad(&r, "is this the right file?", "more than %u lines", LM_REGCSV_MAP_LINES);
    else if (r.problems == 0 && r.map->columns.n + r.map->words.n == 0 && !r.map->others_ignored &&
             r.map->order == ORDER_NONE)
        bad(&r, "name columns under [columns]", "the mapping is empty");
    if (r.problems == 0)
        *map = r.map;
    else
        lm_regcsv_map_free(r.map);
    return r.problems == 0 ? LM_OK : LM_EINPUT;
}
