/* Small lists from outside: CSV with its columns found by name, or plain lines.
 *
 * The first line that is neither blank nor a # comment decides. Separators are comma, semicolon or
 * tab. Cells may be quoted; a line end within quotes is not taken. */
#ifndef LUGMARK_CLI_TABLE_H
#define LUGMARK_CLI_TABLE_H

#include "lines.h"

#define LM_TABLE_WANTED_MAX 4u
#define LM_TABLE_CELLS_MAX 128u /**< columns of a row; stick readers write a few dozen */

struct lm_cell {
    const char *text; /**< not NUL-terminated; blanks at both ends are dropped */
    size_t len;
};

/** What a table looks for. */
struct lm_table_plan {
    const char *columns[LM_TABLE_WANTED_MAX]; /**< names, NULL after the last */
    unsigned enough; /**< bit set of columns of which any one makes the first line a header */
    int plain;       /**< the column that a plain line is */
    size_t least;    /**< without a header, rows of at least so many cells that begin with a time
                          are the columns in their order; 0: a header is needed */
};

/** A table being read. lm_table_begin() fills it. */
struct lm_table {
    struct lm_lines lines;
    const struct lm_table_plan *plan;
    char separator;                 /**< 0: plain lines */
    size_t columns;                 /**< cells of the header */
    int place[LM_TABLE_WANTED_MAX]; /**< where each wanted column is, -1 for nowhere */
    bool pending;                   /**< the first line was no header and is still to be given */
    struct lm_cell row[LM_TABLE_CELLS_MAX];
    size_t n_row;
    char *scratch; /**< for cells with doubled quotes */
};

/**
 * Begin and look at the first line.
 * @return LM_OK, LM_EINPUT (a column is there twice, or none that is enough), LM_EIO, LM_ENOMEM;
 *         @p p is filled. Ownership: lm_table_end() in either case.
 */
enum lm_err lm_table_begin(struct lm_table *table, FILE *in, const char *name,
    const struct lm_table_plan *plan, struct lm_problem *p);
void lm_table_end(struct lm_table *table);

/**
 * The next row that is not blank.
 * @return LM_OK; LM_EAGAIN at the end; LM_EINPUT with @p p filled: this row is bad and the next one
 *         can be asked for; LM_EIO.
 */
enum lm_err lm_table_next(struct lm_table *table, struct lm_problem *p);

/** A wanted cell of the row; empty when the column is not there. */
struct lm_cell lm_table_cell(const struct lm_table *table, int column);

/** Whether a wanted column is there. */
bool lm_table_has(const struct lm_table *table, int column);

/** Fill in where in the file a cell of the row is. */
void lm_table_place(const struct lm_table *table, int column, struct lm_problem *p);

#endif
