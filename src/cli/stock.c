/* lugmark stock: supply lists, and what is left of them. */
#include "stock.h"

#include <string.h>

#include "lugmark/decode.h"
#include "open_db.h"
#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

static const char *use_name(uint8_t use)
{
    return use == LM_STOCK_WORN ? "worn" : use == LM_STOCK_GONE ? "gone" : "left";
}

json_t *lm_stock_json(const struct lm_stock_item *item)
{
    char eid[LM_EID_TEXT_SIZE] = "", date[LM_DATE_TEXT_SIZE] = "";
    if (item->eid.known != LM_EID_NONE)
        lm_eid_format(item->eid, eid);
    if (item->received.year != 0)
        lm_date_format(item->received, date);
    return json_pack("{s:s, s:I, s:o, s:o, s:s, s:s, s:b, s:o, s:s, s:o}", "strip", item->strip,
        "position", (json_int_t) item->position, "eid", lm_json_or_null(eid), "visual",
        lm_json_or_null(item->visual), "form",
        lm_device_form_name((enum lm_device_form) item->form), "colour", item->colour, "official",
        item->official, "received", lm_json_or_null(date), "use", use_name(item->use), "animal",
        lm_json_or_null(item->animal));
}

/* What a person calls the device: its number, else its code. */
static const char *mark_of(const struct lm_stock_item *item, char eid[LM_EID_TEXT_SIZE])
{
    return item->visual[0] != '\0' ? item->visual : lm_eid_format(item->eid, eid);
}

struct listing {
    bool json;
    unsigned long shown;
};

static enum lm_err show_strip(const struct lm_stock_strip *s, void *ctx)
{
    struct listing *l = ctx;
    char date[LM_DATE_TEXT_SIZE] = "", eid[LM_EID_TEXT_SIZE];
    const char *form = lm_device_form_name((enum lm_device_form) s->first.form);
    l->shown++;
    if (s->first.received.year != 0)
        lm_date_format(s->first.received, date);
    if (l->json) {
        lm_json_line(stdout,
            json_pack("{s:s, s:s, s:s, s:b, s:o, s:I, s:I, s:I, s:I, s:o}", "strip", s->first.strip,
                "form", form, "colour", s->first.colour, "official", s->first.official, "received",
                lm_json_or_null(date), "items", (json_int_t) s->items, "left", (json_int_t) s->left,
                "worn", (json_int_t) s->worn, "gone", (json_int_t) s->gone, "next",
                s->next.strip[0] != '\0' ? lm_stock_json(&s->next) : json_null()));
        return LM_OK;
    }
    printf("%s: %s %s%s%s", s->first.strip, s->first.official ? _("official") : _("management"),
        s->first.colour, s->first.colour[0] ? " " : "",
        form[0] ? lm_tongue_word(form) : _("device"));
    if (date[0])
        printf(_(", received %s"), date);
    printf(_("; %u of %u left"), s->left, s->items);
    if (s->next.strip[0] != '\0')
        printf(_("; next %s (position %u)\n"), mark_of(&s->next, eid), s->next.position);
    else
        puts(_("; used up"));
    return LM_OK;
}

static enum lm_err show_item(const struct lm_stock_item *item, long line, void *ctx)
{
    struct listing *l = ctx;
    char eid[LM_EID_TEXT_SIZE] = "";
    (void) line;
    l->shown++;
    if (l->json) {
        lm_json_line(stdout, lm_stock_json(item));
        return LM_OK;
    }
    if (item->eid.known != LM_EID_NONE)
        lm_eid_format(item->eid, eid);
    printf("%s %u: %s%s%s  %s%s%s\n", item->strip, item->position, item->visual,
        item->visual[0] && eid[0] ? " / " : "", eid, use_name(item->use),
        item->animal[0] ? " " : "", item->animal);
    return LM_OK;
}

static enum lm_err find_items(struct lm_store *store, const char *word, struct listing *l)
{
    struct lm_decoded code;
    struct lm_stock_item item;
    if (lm_decode(word, strlen(word), &code, NULL) == LM_OK && code.eid.known != LM_EID_UID) {
        enum lm_err err = lm_store_stock_by_code(store, code.eid, &item);
        if (err == LM_OK)
            return show_item(&item, 0, l);
        if (err != LM_ENOTFOUND)
            return err;
    }
    return lm_store_stock_by_number(store, word, show_item, l);
}

static int list(const struct lm_args *args, const char *what, const char *word)
{
    struct listing l = {.json = lm_arg_given(args, "json")};
    struct lm_store *store = NULL;
    char clean[LM_VISUAL_MAX + 1];
    int exit = lm_db_open(args, LM_STORE_READ, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    lm_clean(clean, sizeof clean, word != NULL ? word : "");
    enum lm_err err;
    if (word == NULL)
        err = lm_store_stock_strips(store, show_strip, &l);
    else if (what[0] == 's')
        err = lm_store_stock_each(store, clean, show_item, &l);
    else
        err = find_items(store, clean, &l);
    if (err != LM_OK)
        exit = lm_db_fail(store);
    else if (l.shown == 0 && word == NULL && !l.json)
        fprintf(stderr, _("lugmark: there are no supply lists; lugmark stock import FILE.csv "
                          "brings one in\n"));
    else if (l.shown == 0 && word != NULL)
        exit = what[0] == 's'
                   ? lm_fail(LM_EXIT_INPUT, "see them with lugmark stock", "there is no strip %s",
                         clean)
                   : lm_fail(LM_EXIT_FLAGGED, NULL, "no strip of the stock holds %s", clean);
    lm_store_close(store);
    return exit;
}

static int run(const struct lm_args *args)
{
    const char *what = args->n_rest > 0 ? args->rest[0] : "";
    const char *word = args->n_rest > 1 ? args->rest[1] : NULL;
    bool import = strcmp(what, "import") == 0;
    if (what[0] != '\0' && !import && strcmp(what, "show") != 0 && strcmp(what, "find") != 0)
        return lm_usage(args, "after stock comes import, show or find, not \"%s\"", what);
    if (what[0] != '\0' && (word == NULL || word[0] == '\0'))
        return lm_usage(args, "stock %s wants %s", what,
            import           ? "the name of a file"
            : what[0] == 's' ? "a strip"
                             : "a code or a number");
    if (!import && (lm_arg_given(args, "dry-run") || lm_arg_given(args, "allow-used")))
        return lm_usage(args, "--dry-run and --allow-used go with stock import");
    return import ? lm_stock_import(args, word) : list(args, what, word);
}

static const struct lm_option options[] = {
    {"dry-run", 'n', NULL, "import: check the whole list and change nothing"},
    {"allow-used", 0, NULL, "import: take devices that animals carry already with that pair"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_stock = {
    .name = "stock",
    .group = LM_GROUP_REGISTER,
    .summary = N_("Take supply lists, and show what is left of each strip"),
    .arguments = "[import FILE.csv | show STRIP | find CODE|NUMBER]",
    .details =
        "Alone: each strip with how many devices are left and which comes next. A supply list is\n"
        "CSV: strip,position,eid,visual,form,colour,official,received, one row a device; it is\n"
        "taken all or nothing, and the order of the strip is kept. - is standard input. What is\n"
        "used follows from the devices of the animals, worn or removed.",
    .example = "lugmark stock import supply.csv\nlugmark stock find 0417",
    .options = options,
    .max_rest = 2,
    .run = run,
};
