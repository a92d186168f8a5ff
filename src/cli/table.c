/* Small lists from outside: CSV with its columns found by name, or plain lines. */
#include "table.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "lugmark/decode.h"
#include "lugmark/time.h"

static bool blank(char c)
{
    return c == ' ' || c == '\t' || c == '\r'; /* some programs end lines in two of these */
}

static struct lm_cell trim(const char *text, size_t len)
{
    while (len > 0 && blank(text[0]))
        text++, len--;
    while (len > 0 && blank(text[len - 1]))
        len--;
    return (struct lm_cell){text, len};
}

static enum lm_err bad(
    const struct lm_table *t, long column, struct lm_problem *p, const char *what, const char *mend)
{
    lm_lines_place(&t->lines, column, p);
    return lm_problem_set(p, LM_EINPUT, mend, "%s", what);
}

/* A quoted cell, from behind its first quote. @return behind the closing quote, or NULL. */
static const char *quoted(const char *at, const char *end, char **scratch, struct lm_cell *cell)
{
    const char *begin = at;
    char *out = *scratch;
    bool doubled = false;
    for (; at < end; at++) {
        if (*at == '"' && at + 1 < end && at[1] == '"') {
            doubled = true;
            at++;
        } else if (*at == '"') {
            *cell = doubled ? trim(*scratch, (size_t) (out - *scratch))
                            : trim(begin, (size_t) (at - begin));
            *scratch = out;
            return at + 1;
        }
        *out++ = *at;
    }
    return NULL;
}

static const char *past_blanks(const char *at, const char *end, char separator)
{
    while (at < end && blank(*at) && *at != separator)
        at++;
    return at;
}

/* The next cell, from *at up to its separator or the end. NULL when it is well, else what is wrong.
 */
static const char *take_cell(
    struct lm_cell *cell, char **scratch, const char **at, const char *end, char separator)
{
    const char *word = past_blanks(*at, end, separator);
    if (word == end || *word != '"') {
        const char *stop = memchr(*at, separator, (size_t) (end - *at));
        stop = stop != NULL ? stop : end;
        *cell = trim(*at, (size_t) (stop - *at));
        *at = stop;
        return NULL;
    }
    const char *behind = quoted(word + 1, end, scratch, cell);
    if (behind == NULL)
        return "a quote is opened and not closed in this line";
    *at = past_blanks(behind, end, separator);
    return *at < end && **at != separator ? "there is text behind a closing quote" : NULL;
}

/* Take a line apart. NULL when it is well, else what is wrong. */
static const char *split(struct lm_table *t, const char *line, size_t len, char separator)
{
    const char *at = line, *end = line + len;
    char *scratch = t->scratch;
    t->n_row = 0;
    for (;;) {
        if (t->n_row == LM_TABLE_CELLS_MAX)
            return "the row has too many cells";
        const char *wrong = take_cell(&t->row[t->n_row++], &scratch, &at, end, separator);
        if (wrong != NULL || at == end)
            return wrong;
        at++;
    }
}

static bool is_word(struct lm_cell cell, const char *word)
{
    return cell.len == strlen(word) && strncasecmp(cell.text, word, cell.len) == 0;
}

/* Which wanted columns the row that was split names. @return bit set. */
static unsigned match(struct lm_table *t, bool *twice)
{
    unsigned found = 0;
    for (int w = 0; w < (int) LM_TABLE_WANTED_MAX; w++)
        t->place[w] = -1;
    for (size_t i = 0; i < t->n_row; i++)
        for (unsigned w = 0; w < LM_TABLE_WANTED_MAX && t->plan->columns[w] != NULL; w++) {
            if (!is_word(t->row[i], t->plan->columns[w]))
                continue;
            *twice = *twice || t->place[w] >= 0;
            t->place[w] = (int) i;
            found |= 1u << w;
        }
    return found;
}

/* A line of data where the header should be: some cell is a code or a time. */
static bool looks_like_data(const struct lm_table *t)
{
    struct lm_decoded code;
    int64_t t_ms;
    for (size_t i = 0; t->n_row > 1 && i < t->n_row; i++)
        if (lm_decode(t->row[i].text, t->row[i].len, &code, NULL) == LM_OK ||
            lm_time_parse(t->row[i].text, t->row[i].len, &t_ms) == LM_OK)
            return true;
    return false;
}

/* The columns of somebody else's file: several cells, each a word. */
static bool is_heading(const struct lm_table *t)
{
    size_t words = 0;
    for (size_t i = 0; i < t->n_row; i++) {
        if (t->row[i].len == 0)
            continue;
        unsigned char c = (unsigned char) t->row[i].text[0];
        if (c < 0x80 && ((c | 32) < 'a' || (c | 32) > 'z'))
            return false;
        words++;
    }
    return words > 1;
}

static enum lm_err no_header(struct lm_table *t, struct lm_problem *p)
{
    char mend[LM_PROBLEM_TEXT_MAX] = "the first line has to name the columns: ";
    for (unsigned w = 0; w < LM_TABLE_WANTED_MAX && t->plan->columns[w] != NULL; w++) {
        size_t len = strlen(mend);
        snprintf(mend + len, sizeof mend - len, "%s%s", w > 0 ? "," : "", t->plan->columns[w]);
    }
    return bad(t, 0, p, "this looks like CSV, but no column that is needed is named", mend);
}

/* A row without a header above it: a time, or nothing, and then what the plan names, in order. */
static bool in_order(struct lm_table *t, const char *line, size_t len, char separator)
{
    int64_t t_ms;
    size_t most = 0;
    while (most < LM_TABLE_WANTED_MAX && t->plan->columns[most] != NULL)
        most++;
    if (t->plan->least == 0 || split(t, line, len, separator) != NULL ||
        t->n_row < t->plan->least || t->n_row > most)
        return false;
    if (lm_time_parse(t->row[0].text, t->row[0].len, &t_ms) != LM_OK)
        return false;
    for (size_t i = 0; i < t->n_row; i++)
        t->place[i] = (int) i;
    t->separator = separator;
    t->columns = t->n_row;
    t->pending = true;
    return true;
}

/* Decide from the first line what kind of file it is. */
static enum lm_err sniff(struct lm_table *t, const char *line, size_t len, struct lm_problem *p)
{
    static const char separators[] = {',', ';', '\t'};
    bool data = false;
    unsigned best = 0, other = 0;
    for (size_t i = 0; i < sizeof separators; i++) {
        bool twice = false;
        if (split(t, line, len, separators[i]) != NULL)
            continue;
        unsigned found = match(t, &twice);
        data = data || looks_like_data(t) || is_heading(t);
        other |= found;
        if ((found & t->plan->enough) == 0 || found <= best)
            continue;
        if (twice)
            return bad(t, 0, p, "a column is named twice", "leave one of them out");
        best = found;
        t->separator = separators[i];
    }
    for (size_t i = 0; best == 0 && other == 0 && i < sizeof separators; i++)
        if (in_order(t, line, len, separators[i]))
            return LM_OK;
    if (best == 0 && (other != 0 || data))
        return no_header(t, p);
    if (best == 0) {
        t->pending = true;
        return LM_OK;
    }
    bool twice = false;
    split(t, line, len, t->separator);
    match(t, &twice);
    t->columns = t->n_row;
    return LM_OK;
}

/* Within the line: a file whose lines end in a carriage return alone is one line here. */
static bool has_carriage_return(const char *line, size_t len)
{
    while (len > 0 && line[len - 1] == '\r')
        len--;
    while (len > 0 && line[0] == '\r')
        line++, len--;
    return len > 0 && memchr(line, '\r', len) != NULL;
}

/* The next line that says something. */
static enum lm_err next_line(
    struct lm_table *t, const char **line, size_t *len, struct lm_problem *p)
{
    enum lm_err err;
    do
        err = lm_lines_next(&t->lines, line, len, p);
    while (err == LM_OK && (*len == 0 || (*line)[0] == '#' || lm_line_is_blank(*line, *len)));
    if (err == LM_OK && has_carriage_return(*line, *len))
        return bad(t, 0, p, "a carriage return stands inside the line",
            "save the file with LF or CRLF line ends");
    return err;
}

enum lm_err lm_table_begin(struct lm_table *table, FILE *in, const char *name,
    const struct lm_table_plan *plan, struct lm_problem *p)
{
    const char *line;
    size_t len;
    memset(table, 0, sizeof *table);
    table->plan = plan;
    for (unsigned w = 0; w < LM_TABLE_WANTED_MAX; w++)
        table->place[w] = -1;
    enum lm_err err = lm_lines_open(&table->lines, in, name, LM_LINES_MAX);
    table->scratch = malloc(table->lines.size);
    if (err != LM_OK || table->scratch == NULL)
        return lm_problem_set(p, LM_ENOMEM, NULL, "out of memory");
    err = next_line(table, &line, &len, p);
    if (err == LM_EAGAIN)
        return LM_OK; /* an empty list; the next call says so */
    if (err == LM_OK)
        err = sniff(table, line, len, p);
    if (err == LM_OK && table->pending && table->separator == 0) {
        table->row[0] = trim(line, len);
        table->n_row = 1;
    }
    return err;
}

void lm_table_end(struct lm_table *table)
{
    lm_lines_close(&table->lines);
    free(table->scratch);
    table->scratch = NULL;
}

static bool row_is_empty(const struct lm_table *t)
{
    for (size_t i = 0; i < t->n_row; i++)
        if (t->row[i].len > 0)
            return false;
    return true;
}

enum lm_err lm_table_next(struct lm_table *table, struct lm_problem *p)
{
    const char *line, *what;
    size_t len;
    enum lm_err err;
    if (table->pending) {
        table->pending = false;
        return LM_OK;
    }
    for (;;) {
        if ((err = next_line(table, &line, &len, p)) != LM_OK)
            return err;
        if (table->separator == 0) {
            table->row[0] = trim(line, len);
            table->n_row = 1;
            return LM_OK;
        }
        what = split(table, line, len, table->separator);
        if (what != NULL)
            return bad(table, 0, p, what, NULL);
        if (row_is_empty(table))
            continue; /* spreadsheets leave such rows at the end */
        if (table->n_row == table->columns)
            return LM_OK;
        lm_lines_place(&table->lines, 0, p);
        return lm_problem_set(p, LM_EINPUT, "give every row as many cells as the first line",
            "the row has %zu cells, the first line names %zu columns", table->n_row,
            table->columns);
    }
}

bool lm_table_has(const struct lm_table *table, int column)
{
    return table->separator == 0 ? column == table->plan->plain : table->place[column] >= 0;
}

struct lm_cell lm_table_cell(const struct lm_table *table, int column)
{
    if (!lm_table_has(table, column))
        return (struct lm_cell){"", 0};
    return table->row[table->separator == 0 ? 0 : table->place[column]];
}

void lm_table_place(const struct lm_table *table, int column, struct lm_problem *p)
{
    bool named = table->separator != 0 && table->place[column] >= 0;
    lm_lines_place(&table->lines, named ? table->place[column] + 1 : 0, p);
}
