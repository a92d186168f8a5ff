/* Finding and opening the register. */
#include "open_db.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <time.h>

#include "lugmark/decode.h"
#include "problem.h"
#include "report/tongue.h"

static const char *filled(const char *name)
{
    const char *value = getenv(name);
    return value != NULL && value[0] != '\0' ? value : NULL;
}

int lm_db_path(const struct lm_args *args, char *out, size_t size)
{
    const char *path = lm_arg(args, "db"), *home;
    int len;
    if (path != NULL && path[0] == '\0')
        return lm_usage(args, "--db wants the name of a file");
    if (path == NULL)
        path = filled("LUGMARK_DB");
    if (path != NULL)
        len = snprintf(out, size, "%s", path);
    else if ((home = filled("XDG_DATA_HOME")) != NULL)
        len = snprintf(out, size, "%s/lugmark/register.db", home);
    else if ((home = filled("HOME")) != NULL)
        len = snprintf(out, size, "%s/.local/share/lugmark/register.db", home);
    else
        return lm_usage(args, _("nothing says where the register is: give --db FILE"));
    if (len < 0 || (size_t) len >= size)
        return lm_usage(args, "the path of the register is too long");
    return LM_EXIT_OK;
}

static void say_slow(void *ctx)
{
    (void) ctx;
    fputs(_("once: the register is being prepared for looking up parts of numbers\n"), stderr);
}

int lm_db_open(const struct lm_args *args, enum lm_store_mode mode, struct lm_store **store)
{
    char path[4096];
    struct lm_problem p = {0};
    *store = NULL;
    int exit = lm_db_path(args, path, sizeof path);
    if (exit != LM_EXIT_OK)
        return exit;
    enum lm_err err = lm_store_open(path, mode, store, &p);
    if (err == LM_OK && mode != LM_STORE_READ)
        (void) lm_store_tend(*store, say_slow, NULL); /* if it cannot be, looking takes longer */
    if (err == LM_OK)
        return LM_EXIT_OK;
    if (err == LM_ENOTFOUND)
        return lm_fail(LM_EXIT_FAILED, _("make one with lugmark init, or say which with --db FILE"),
            _("there is no register at %s"), path);
    p.err = err;
    lm_problem_print(&p);
    return LM_EXIT_FAILED;
}

int lm_db_fail(const struct lm_store *store)
{
    return lm_problem_fail(lm_store_problem(store));
}

int64_t lm_now_ms(void)
{
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    return (int64_t) now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

struct search {
    const char *word;
    char fold[LM_VISUAL_MAX + 1];
    struct lm_eid eid;
    struct lm_record *rec;
    bool removed; /* look at devices that were removed instead of those worn */
    unsigned found;
    char keys[200]; /* the first few, for the message */
};

static bool carries(const struct search *s, const struct lm_device *d)
{
    char fold[LM_VISUAL_MAX + 1];
    if (s->eid.known != LM_EID_NONE && d->eid.known != LM_EID_NONE &&
        lm_eid_key(s->eid) == lm_eid_key(d->eid))
        return true;
    if (s->fold[0] != '\0' && lm_visual_fold(d->visual, fold) > 0 && strcmp(fold, s->fold) == 0)
        return true;
    return d->uid[0] != '\0' && strcasecmp(d->uid, s->word) == 0;
}

static enum lm_err look(const struct lm_record *rec, long line, void *ctx)
{
    struct search *s = ctx;
    bool hit = false;
    (void) line;
    for (unsigned i = 0; i < rec->n_devices && !hit; i++)
        hit = rec->devices[i].gone == s->removed && carries(s, &rec->devices[i]);
    if (!hit)
        return LM_OK;
    if (s->found++ == 0)
        *s->rec = *rec;
    size_t len = strlen(s->keys);
    if (len < sizeof s->keys - LM_NAME_MAX - 3)
        snprintf(s->keys + len, sizeof s->keys - len, "%s%s", len > 0 ? ", " : "", rec->key);
    return LM_OK;
}

static enum lm_err look_for(struct lm_store *store, struct search *s)
{
    struct lm_carried what = {.eid = s->eid, .uid = s->word, .removed = s->removed};
    memcpy(what.fold, s->fold, sizeof what.fold);
    return lm_store_carriers(store, &what, look, s);
}

/* A key wins, but when it is also the number of somebody else, that must not go unsaid. */
static int say_others(struct lm_store *store, const char *word, const struct lm_record *rec)
{
    struct lm_record *other = malloc(sizeof *other);
    struct search s = {.word = word, .rec = other};
    char clean[LM_VISUAL_MAX + 1];
    if (other == NULL)
        return lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    lm_clean(clean, sizeof clean, word);
    lm_visual_fold(clean, s.fold);
    enum lm_err err = look_for(store, &s);
    if (err == LM_OK && s.found > 0 && (s.found > 1 || strcmp(other->key, rec->key) != 0))
        fprintf(stderr, _("lugmark: note: %s is taken as the animal of that name; worn by: %s\n"),
            clean, s.keys);
    free(other);
    return err == LM_OK ? LM_EXIT_OK : lm_db_fail(store);
}

int lm_db_animal(struct lm_store *store, const char *word, struct lm_record *rec)
{
    struct search s = {.word = word, .rec = rec};
    struct lm_decoded code;
    char clean[LM_VISUAL_MAX + 1], uid[LM_EID_TEXT_SIZE];
    lm_clean(clean, sizeof clean, word);
    enum lm_err err = lm_store_get(store, word, rec);
    if (err == LM_OK)
        return say_others(store, word, rec);
    if (err != LM_ENOTFOUND)
        return lm_db_fail(store);
    if (lm_decode(word, strlen(word), &code, NULL) == LM_OK)
        s.eid = code.eid;
    if (s.eid.known == LM_EID_UID) /* chips are kept without the word before */
        s.word = lm_eid_format(s.eid, uid) + strlen("uid:");
    lm_visual_fold(clean, s.fold);
    for (int pass = 0; pass < 2 && s.found == 0; pass++) {
        s.removed = pass == 1;
        if (look_for(store, &s) != LM_OK)
            return lm_db_fail(store);
    }
    if (s.found == 0)
        return lm_fail(LM_EXIT_INPUT, _("look with lugmark find"),
            _("no animal is called or wears %s"), clean);
    if (s.found > 1)
        return lm_fail(LM_EXIT_INPUT, _("name the animal by its key"),
            _("%s is carried by %u animals: %s"), clean, s.found, s.keys);
    return LM_EXIT_OK;
}
