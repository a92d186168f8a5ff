/* Where rule packs lie, and what they say. */
#include "sale.h"

#include <dirent.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "out_json.h"
#include "problem.h"
#include "report/tongue.h"

#define PLACES 6
#define FILES_MAX 200

/* Folders in which packs are looked for, the person's own first. */
struct places {
    char at[PLACES][4096];
    size_t n;
};

static void add_place(struct places *p, const char *base, const char *tail)
{
    if (base == NULL || base[0] == '\0' || p->n == PLACES)
        return;
    int len = snprintf(p->at[p->n], sizeof p->at[0], "%s%s", base, tail);
    if (len > 0 && (size_t) len < sizeof p->at[0])
        p->n++;
}

/* The program's own folder: packs are installed beside it, or lie in the tree it was built in. */
static void add_own(struct places *p)
{
    char self[3000];
    ssize_t len = readlink("/proc/self/exe", self, sizeof self - 1);
    if (len <= 0)
        return;
    self[len] = '\0';
    char *slash = strrchr(self, '/');
    if (slash == NULL)
        return;
    *slash = '\0';
    add_place(p, self, "/../share/lugmark/packs");
    add_place(p, self, "/../../src/cli/packs");
}

static void find_places(struct places *p)
{
    const char *config = getenv("XDG_CONFIG_HOME");
    p->n = 0;
    add_place(p, getenv("LUGMARK_PACKS"), "");
    if (config != NULL && config[0] != '\0')
        add_place(p, config, "/lugmark/packs");
    else
        add_place(p, getenv("HOME"), "/.config/lugmark/packs");
    add_place(p, "/etc/lugmark/packs", "");
    add_own(p);
}

static bool ends_json(const char *name)
{
    size_t len = strlen(name);
    return len > 5 && strcmp(name + len - 5, ".json") == 0;
}

static int is_pack(const struct dirent *e)
{
    return e->d_name[0] != '.' && ends_json(e->d_name);
}

static void each_in(const char *folder, lm_pack_fn *fn, void *ctx)
{
    struct dirent **files = NULL;
    int n = scandir(folder, &files, is_pack, alphasort);
    for (int i = 0; i < n; i++) {
        char path[4400];
        struct lm_rulepack *pack = NULL;
        struct lm_problem p;
        snprintf(path, sizeof path, "%s/%s", folder, files[i]->d_name);
        if (i < FILES_MAX) {
            lm_rulepack_read(path, &pack, &p);
            fn(path, pack, &p, ctx);
            lm_rulepack_free(pack);
        }
        free(files[i]);
    }
    free(files);
}

void lm_packs_each(lm_pack_fn *fn, void *ctx)
{
    struct places *places = malloc(sizeof *places);
    if (places == NULL)
        return;
    find_places(places);
    for (size_t i = 0; i < places->n; i++)
        each_in(places->at[i], fn, ctx);
    free(places);
}

static int load_file(const char *path, struct lm_rulepack **pack)
{
    struct lm_problem p;
    if (lm_rulepack_read(path, pack, &p) == LM_OK)
        return LM_EXIT_OK;
    lm_problem_print(&p);
    return p.err == LM_ENOMEM ? LM_EXIT_FAILED : LM_EXIT_INPUT;
}

static bool is_name(const char *word)
{
    static const char allowed[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-";
    return word[0] != '\0' && word[strspn(word, allowed)] == '\0' && strlen(word) <= 32;
}

/* The file of a pack by its id; the first place wins, even when what lies there is broken. */
static bool find_file(const char *word, char *path, size_t size)
{
    struct places *places = malloc(sizeof *places);
    bool there = false;
    if (places == NULL)
        return false;
    find_places(places);
    for (size_t i = 0; i < places->n && !there; i++) {
        int len = snprintf(path, size, "%s/%s.json", places->at[i], word);
        there = len > 0 && (size_t) len < size && access(path, F_OK) == 0;
    }
    free(places);
    return there;
}

int lm_pack_load(const struct lm_args *args, const char *word, struct lm_rulepack **pack)
{
    char clean[80], path[4200];
    *pack = NULL;
    if (strchr(word, '/') != NULL || ends_json(word))
        return load_file(word, pack);
    if (!is_name(word))
        return lm_usage(args, "--pack wants the id of a pack or a file, not \"%s\"", word);
    if (!find_file(word, path, sizeof path))
        return lm_fail(LM_EXIT_INPUT, "see which there are with lugmark sale-check --packs",
            "there is no rule pack called %s", lm_clean(clean, sizeof clean, word));
    int exit = load_file(path, pack);
    if (exit != LM_EXIT_OK)
        return exit;
    const char *id = lm_rulepack_rules(*pack)->id;
    if (strcmp(id, word) == 0)
        return LM_EXIT_OK;
    return lm_fail(LM_EXIT_INPUT, "rename the file, or change its id",
        "the file %s.json holds a pack that calls itself %s", word, id);
}

/* --- sale-check --packs --- */

struct listing {
    json_t *array; /* NULL: for people */
    int exit;
};

static void list_one(
    const char *path, struct lm_rulepack *pack, const struct lm_problem *p, void *ctx)
{
    struct listing *l = ctx;
    if (pack == NULL) {
        lm_problem_print(p);
        l->exit = LM_EXIT_INPUT;
        return;
    }
    const struct lm_rule_pack *r = lm_rulepack_rules(pack);
    if (l->array != NULL)
        json_array_append_new(
            l->array, json_pack("{s:s, s:s, s:s, s:s, s:s, s:i, s:s}", "id", r->id, "name", r->name,
                          "jurisdiction", r->jurisdiction, "as_of", r->as_of, "authority",
                          r->authority, "rules", (int) r->n_rules, "file", path));
    else
        printf(_("%-12s %s, as of %s, %zu rules\n%-12s %s\n"), r->id, r->name, r->as_of, r->n_rules,
            "", path);
}

int lm_packs_list(const struct lm_args *args)
{
    struct listing l = {.array = lm_arg_given(args, "json") ? json_array() : NULL};
    lm_packs_each(list_one, &l);
    if (l.array != NULL)
        lm_json_line(stdout, json_pack("{s:o}", "packs", l.array));
    else
        puts(_("The first one of a name is taken. Law changes: your animal-health authority "
               "decides."));
    return l.exit;
}

/* --- sale-check --explain-rule --- */

struct explaining {
    const char *id;
    bool json, found;
};

static const char *severity_say(const struct lm_rule *r)
{
    if (r->lowered)
        return N_("look (the pack says hold, which a rule that is not verified cannot)");
    return r->severity == LM_SEVERITY_STOP   ? "hold"
           : r->severity == LM_SEVERITY_LOOK ? "look"
                                             : "note";
}

static void explain(const struct lm_rule_pack *pack, const struct lm_rule *r, bool json)
{
    enum lm_evidence ev = (enum lm_evidence) r->evidence;
    if (json) {
        lm_json_line(
            stdout, json_pack("{s:s, s:s, s:s, s:s, s:s, s:s, s:s, s:s, s:s, s:s, s:o, s:s}",
                        "rule", r->id, "pack", pack->id, "text", r->text, "requirement",
                        lm_need_name((enum lm_need_kind) r->need.kind), "asks_for", severity_say(r),
                        "todo", r->todo, "citation", r->citation, "as_of", r->as_of, "evidence",
                        lm_evidence_name(ev), "evidence_text", lm_evidence_say(ev), "source_url",
                        lm_json_or_null(r->source_url), "authority", pack->authority));
        return;
    }
    printf(_("%s of %s (pack %s)\n  %s\n"), r->id, _(pack->name), pack->id, _(r->text));
    if (r->todo[0] != '\0')
        printf(_("  To mend: %s.\n"), _(r->todo));
    printf(_("  Asks for:  %s\n  Needs:     %s\n  Source:    %s\n  As of:     %s\n"
             "  Verified:  %s: %s\n"),
        _(severity_say(r)), lm_need_name((enum lm_need_kind) r->need.kind), _(r->citation),
        r->as_of, lm_evidence_name(ev), _(lm_evidence_say(ev)));
    if (r->source_url[0] != '\0')
        printf(_("  Page:      %s\n"), r->source_url);
    printf(_("  Law changes. Your animal-health authority decides: %s.\n"), _(pack->authority));
}

static void explain_in(
    const char *path, struct lm_rulepack *pack, const struct lm_problem *p, void *ctx)
{
    struct explaining *e = ctx;
    const struct lm_rule_pack *r = pack != NULL ? lm_rulepack_rules(pack) : NULL;
    (void) path;
    if (pack == NULL)
        lm_problem_print(p);
    for (size_t i = 0; r != NULL && i < r->n_rules && !e->found; i++)
        if (lm_word_is(e->id, r->rules[i].id)) {
            explain(r, &r->rules[i], e->json);
            e->found = true;
        }
}

int lm_packs_explain(const struct lm_args *args, const char *id)
{
    struct explaining e = {.id = id, .json = lm_arg_given(args, "json")};
    const char *word = lm_arg(args, "pack");
    char clean[80];
    struct lm_rulepack *pack = NULL;
    if (word != NULL) {
        int exit = lm_pack_load(args, word, &pack);
        if (exit != LM_EXIT_OK) {
            lm_rulepack_free(pack);
            return exit;
        }
        explain_in("", pack, NULL, &e);
        lm_rulepack_free(pack);
    } else {
        lm_packs_each(explain_in, &e);
    }
    if (e.found)
        return LM_EXIT_OK;
    return lm_fail(LM_EXIT_INPUT, "see which packs there are with lugmark sale-check --packs",
        "no rule is called %s", lm_clean(clean, sizeof clean, id));
}
