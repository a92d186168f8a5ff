/* The movement list: the animals of the lot in the order they walked. */
#include "sale.h"

#include <stdlib.h>
#include <string.h>

#include "out_file.h"
#include "problem.h"
#include "report/cell.h"
#include "report/tongue.h"

#define COLUMNS 8

static void text_row(FILE *out, const char *const cells[COLUMNS])
{
    static const int columns[COLUMNS] = {17, 19, 17, 9, 11, 19, 25, 0};
    for (size_t i = 0; i < COLUMNS; i++)
        lm_tongue_pad(out, cells[i], columns[i]);
    putc('\n', out);
}

static void row(FILE *out, const struct lm_sale_animal *a, bool csv)
{
    char t[LM_TIME_TEXT_SIZE] = "";
    if (a->place > 0)
        lm_time_format(a->t_ms, t);
    if (!csv) {
        text_row(
            out, (const char *[COLUMNS]){a->key, a->number, a->code, a->species,
                     lm_tongue_word(a->sex), _(a->age), t, _(lm_attention_name(a->attention))});
        return;
    }
    const char *const cells[] = {a->key, a->number, a->code, a->species, a->sex, a->age, t};
    for (size_t i = 0; i < sizeof cells / sizeof *cells; i++)
        lm_cell(out, cells[i], ",");
    lm_cell(out, lm_attention_name(a->attention), "\r\n");
}

static int by_place(const void *a, const void *b)
{
    const struct lm_sale_animal *const *x = a, *const *y = b;
    if ((*x)->place != (*y)->place)
        return (*x)->place < (*y)->place ? -1 : 1;
    return *x < *y ? -1 : *x > *y;
}

static void foot(FILE *out, const struct lm_sale *sale, size_t n)
{
    const struct lm_rule_pack *pack = sale->rules[sale->n_packs - 1];
    fprintf(out,
        _("\n%zu animals. Checked with pack %s as of %s; your animal-health authority "
          "decides.\n"),
        n, pack->id, pack->as_of);
}

int lm_sale_list(const struct lm_sale *sale, bool csv)
{
    struct lm_out out;
    size_t n = 0;
    int exit = lm_out_open(sale->args, &out);
    if (exit != LM_EXIT_OK)
        return exit;
    const struct lm_sale_animal **order = calloc(sale->n_animals + 1, sizeof(void *));
    for (size_t i = 0; order != NULL && i < sale->n_animals; i++)
        if (!sale->race.joined || sale->animals[i].place > 0)
            order[n++] = &sale->animals[i];
    if (order != NULL && n > 0)
        qsort((void *) order, n, sizeof *order, by_place);
    if (csv)
        fputs("animal,number,code,species,sex,age,time,check\r\n", out.file);
    else
        text_row(out.file, (const char *[COLUMNS]){_("animal"), _("number"), _("code"),
                               _("species"), _("sex"), _("age"), _("time"), _("check")});
    for (size_t i = 0; i < n; i++)
        row(out.file, order[i], csv);
    if (!csv)
        foot(out.file, sale, n);
    if (n < sale->n_animals)
        fprintf(stderr,
            _("lugmark: note: %zu animals of the lot did not come and are not listed\n"),
            sale->n_animals - n);
    bool good = order != NULL;
    free((void *) order);
    exit = lm_out_close(&out, good);
    return good ? exit : lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
}
