/* lugmark sale-check: whether each animal of a lot carries what it needs before it leaves. */
#include "command.h"

#include <stdlib.h>
#include <string.h>

#include "fields.h"
#include "lot.h"
#include "open_db.h"
#include "problem.h"
#include "sale.h"
#include "supply.h"
#include "report/tongue.h"

static enum lm_err into_roll(const struct lm_record *rec, long line, void *ctx)
{
    (void) line;
    return lm_roll_put(ctx, rec, NULL);
}

static int load_packs(struct lm_sale *sale)
{
    const char *word = NULL;
    int exit = lm_sale_value(sale->args, sale->store, &sale->said, "pack", &word);
    if (exit == LM_EXIT_OK)
        exit = lm_pack_load(sale->args, "none", &sale->packs[0]);
    if (exit != LM_EXIT_OK)
        return exit;
    sale->rules[sale->n_packs++] = lm_rulepack_rules(sale->packs[0]);
    if (word == NULL || strcmp(word, "none") == 0) {
        if (word == NULL)
            fputs(_("lugmark: note: no rule pack is named: only the register is checked; see "
                    "lugmark sale-check --packs\n"),
                stderr);
        return LM_EXIT_OK;
    }
    exit = lm_pack_load(sale->args, word, &sale->packs[1]);
    if (exit == LM_EXIT_OK)
        sale->rules[sale->n_packs++] = lm_rulepack_rules(sale->packs[1]);
    return exit;
}

static bool listed(const struct lm_sale *sale, const char *key)
{
    for (size_t i = 0; i < sale->n_animals; i++)
        if (strcmp(sale->animals[i].key, key) == 0)
            return true;
    return false;
}

/* One animal is in a lot once, however often the list names it. */
static void put_animal(struct lm_sale *sale, const char *key)
{
    if (listed(sale, key)) {
        fprintf(stderr, _("lugmark: note: %s is in the lot more than once; it counts once\n"), key);
        return;
    }
    snprintf(sale->animals[sale->n_animals++].key, LM_NAME_MAX + 1, "%s", key);
}

static int lot_of_file(struct lm_sale *sale, const char *path)
{
    struct lm_lot lot = {0};
    int exit = lm_lot_read(path, sale->roll, &lot);
    sale->animals = calloc(lot.n + 1, sizeof *sale->animals);
    if (exit == LM_EXIT_OK && sale->animals == NULL)
        exit = lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    for (size_t i = 0; exit == LM_EXIT_OK && i < lot.n; i++)
        put_animal(sale, lot.keys[i]);
    memcpy(sale->lot, lot.name, sizeof sale->lot);
    lm_lot_free(&lot);
    return exit;
}

static int lot_of_session(struct lm_sale *sale)
{
    sale->animals = calloc(sale->race.n_expected + 1, sizeof *sale->animals);
    if (sale->animals == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    for (size_t i = 0; i < sale->race.n_expected; i++)
        memcpy(sale->animals[sale->n_animals++].key, sale->race.expected[i], LM_NAME_MAX + 1);
    memcpy(sale->lot, sale->race.lot, sizeof sale->lot);
    if (sale->n_animals == 0)
        return lm_fail(LM_EXIT_INPUT, _("name the lot's animals in a file"),
            _("nobody was expected in session %lld"), (long long) sale->race.id);
    return LM_EXIT_OK;
}

static enum lm_err last_count(const struct lm_store_session *s, void *ctx)
{
    struct lm_date *counted = ctx;
    struct lm_date d = lm_date_of(s->closed_ms);
    bool count = s->open.kind == LM_COUNT && s->closed_ms != LM_TIME_NONE;
    if (count && (counted->year == 0 || lm_date_days(d, 0) > lm_date_days(*counted, 0)))
        *counted = d;
    return LM_OK;
}

/* What the register and the race know that every rule may ask for. */
static int fill_context(struct lm_sale *sale)
{
    struct lm_rule_context *ctx = &sale->said.ctx;
    ctx->speech = lm_supply_speech(sale->args, !lm_arg_given(sale->args, "json"));
    if (ctx->date.day == 0)
        ctx->date = sale->race.joined ? lm_date_of(sale->race.opened_ms) : lm_today();
    ctx->at_race = sale->race.joined;
    ctx->race_over = sale->race.closed;
    ctx->has_heads = sale->race.has_heads;
    ctx->heads = sale->race.heads;
    ctx->animals = (uint32_t) sale->n_animals;
    return lm_store_sessions(sale->store, last_count, &ctx->counted) == LM_OK
               ? LM_EXIT_OK
               : lm_db_fail(sale->store);
}

static int prepare(struct lm_sale *sale)
{
    long id = 0;
    const struct lm_args *args = sale->args;
    if (!lm_arg_number(args, "session", 1, 2000000000, &id))
        return LM_EXIT_USAGE;
    int exit = load_packs(sale);
    if (exit == LM_EXIT_OK)
        exit = lm_sale_said_take(args, sale->store, sale->rules, sale->n_packs, &sale->said);
    if (exit != LM_EXIT_OK)
        return exit;
    sale->roll = lm_roll_new();
    if (sale->roll == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    if (lm_store_each(sale->store, into_roll, sale->roll) != LM_OK)
        return lm_db_fail(sale->store);
    if (id > 0)
        exit = lm_sale_race_join(sale->store, id, sale->roll, &sale->race);
    if (exit == LM_EXIT_OK)
        exit = args->n_rest > 0 ? lot_of_file(sale, args->rest[0]) : lot_of_session(sale);
    return exit == LM_EXIT_OK ? fill_context(sale) : exit;
}

static int show(const struct lm_sale *sale)
{
    const char *list = lm_arg(sale->args, "list");
    int exit = list != NULL                       ? lm_sale_list(sale, strcmp(list, "csv") == 0)
               : lm_arg_given(sale->args, "json") ? lm_sale_json(sale)
                                                  : lm_sale_text(sale);
    if (exit != LM_EXIT_OK)
        return exit;
    return lm_sale_flagged(sale) ? LM_EXIT_FLAGGED : LM_EXIT_OK;
}

static int check(struct lm_sale *sale)
{
    bool keep = lm_arg_given(sale->args, "keep");
    int exit = lm_db_open(sale->args, keep ? LM_STORE_WRITE : LM_STORE_READ, &sale->store);
    if (exit == LM_EXIT_OK)
        exit = prepare(sale);
    if (exit == LM_EXIT_OK && keep && lm_sale_said_keep(sale->args, sale->store) != LM_EXIT_OK)
        exit = lm_db_fail(sale->store);
    if (exit == LM_EXIT_OK)
        exit = lm_sale_judge(sale);
    return exit == LM_EXIT_OK ? show(sale) : exit;
}

static void free_sale(struct lm_sale *sale)
{
    for (size_t i = 0; i < LM_SALE_PACKS; i++)
        lm_rulepack_free(sale->packs[i]);
    lm_sale_said_free(&sale->said);
    lm_sale_race_free(&sale->race);
    free(sale->animals);
    free(sale->results);
    lm_roll_free(sale->roll);
    lm_store_close(sale->store);
    free(sale);
}

static int run(const struct lm_args *args)
{
    const char *list = lm_arg(args, "list"), *rule = lm_arg(args, "explain-rule");
    if (lm_arg_given(args, "packs"))
        return lm_packs_list(args);
    if (rule != NULL)
        return lm_packs_explain(args, rule);
    if (args->n_rest == 0 && !lm_arg_given(args, "session"))
        return lm_usage(args, _("say which animals: LOT, or --session N of the race"));
    if (list != NULL && strcmp(list, "csv") != 0 && strcmp(list, "text") != 0)
        return lm_usage(args, "--list is csv or text, not \"%s\"", list);
    struct lm_sale *sale = calloc(1, sizeof *sale);
    if (sale == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    sale->args = args;
    int exit = check(sale);
    free_sale(sale);
    return exit;
}

static const struct lm_option options[] = {
    {"pack", 'p', "PACK", "rule pack: an id, or a file (else the one kept, else none)"},
    {"purpose", 0, "WORD", "breeding, fattening, slaughter or show"},
    {"destination", 0, "WORD", "one of the pack's, such as interstate or export"},
    {"date", 0, "DATE", "the day they leave (else the session's, else today)"},
    {"session", 's', "N", "join what was read and called in this session"},
    {"own", 0, "NUMBER,...", "numbers of this holding, such as its flock number"},
    {"born", 0, "here|elsewhere", "where all were born (else by buys and dams in the register)"},
    {"type", 0, "NUMBER=FORMAT,...", "what numbers are; NUMBER may end in a star"},
    {"case", 0, "NAME,...", "circumstances of the pack that are so"},
    {"not", 0, "NAME,...", "circumstances of the pack that are not so"},
    {"have", 0, "PAPER,...", "papers that are there"},
    {"lack", 0, "PAPER,...", "papers that are known not to be there"},
    {"rule", 0, "RULE=WORD,...", "your own weight of a rule: off, note, look or hold"},
    {"keep", 0, NULL, "keep --pack, --own, --type and --rule in the register"},
    {"list", 0, "csv|text", "write the movement list in the order they walked"},
    {"output", 'o', "FILE", "write the movement list into this file"},
    {"overwrite", 0, NULL, "replace the file if it is there"},
    {"explain-rule", 0, "RULE", "say where a rule comes from and how well it was verified"},
    {"packs", 0, NULL, "list the rule packs"},
    {NULL, 0, NULL, NULL},
};

const struct lm_command lm_command_sale_check = {
    .name = "sale-check",
    .group = LM_GROUP_AFTER,
    .summary = N_("Check a lot's official identity by a rule pack before it leaves"),
    .arguments = "[LOT]",
    .details = "LOT is a file with one key, printed number or code a line, or a CSV with a column\n"
               "animal, eid or visual; without it the lot is who was expected in the session.\n"
               "Packs are looked for in $LUGMARK_PACKS, $XDG_CONFIG_HOME/lugmark/packs,\n"
               "/etc/lugmark/packs and beside the program. Law changes, and a pack is somebody's\n"
               "reading of it: at best no problem is found; your animal-health authority decides.",
    .example = "lugmark sale-check lot.csv --pack us --purpose breeding --destination interstate\n"
               "lugmark sale-check --session 3 --pack england --list csv -o movement.csv",
    .options = options,
    .max_rest = 1,
    .run = run,
};
