/* Binding the number of a 13.56 MHz chip to a device that an animal wears: lugmark tag --uid. */
#include "tag.h"

#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "fields.h"
#include "lugmark/decode.h"
#include "lugmark/eventline.h"
#include "open_db.h"
#include "problem.h"
#include "record_text.h"
#include "report/tongue.h"

/* What the options ask for. */
struct wanted {
    char uid[24]; /* upper-case hex, as the register keeps it */
    struct lm_eid eid;
    char fold[LM_VISUAL_MAX + 1]; /* of --visual, "" for none */
    bool is_new;
    enum lm_device_form form;
};

static const char uid_mend[] = "give the chip's 4, 7 or 8 bytes, two hex digits each";

static int take_uid(const char *value, struct wanted *w)
{
    struct lm_eid uid;
    char text[LM_EID_TEXT_SIZE];
    const char *hex = strncasecmp(value, "uid:", 4) == 0 ? value + 4 : value;
    if (lm_eid_from_uid(hex, strlen(hex), &uid) != LM_OK)
        return lm_fail(LM_EXIT_INPUT, uid_mend, "--uid cannot be \"%s\"", value);
    if (lm_eid_uid_is_random(uid))
        return lm_fail(LM_EXIT_INPUT, "use another tag",
            "a chip whose number begins with 08 makes up a new one each time");
    snprintf(w->uid, sizeof w->uid, "%s", lm_eid_format(uid, text) + strlen("uid:"));
    return LM_EXIT_OK;
}

static int take(const struct lm_args *args, struct wanted *w)
{
    const char *uid = lm_arg(args, "uid"), *visual = lm_arg(args, "visual");
    const char *eid = lm_arg(args, "eid"), *form = lm_arg(args, "new");
    struct lm_decoded code;
    struct lm_problem p = {0};
    if (uid == NULL)
        return lm_usage(args, "give the chip's number: --uid 04A1B2C3D4E5F6");
    if (form != NULL && (visual != NULL || eid != NULL))
        return lm_usage(args, "--new is for a device that is not in the register yet");
    if (visual != NULL && lm_visual_fold(visual, w->fold) == 0)
        return lm_usage(args, "--visual is empty");
    if (eid != NULL && lm_decode(eid, strlen(eid), &code, &p) != LM_OK)
        return lm_problem_fail(&p);
    if (eid != NULL)
        w->eid = code.eid;
    w->is_new = form != NULL;
    if (form != NULL && lm_device_form_parse(form, &w->form) != LM_OK)
        return lm_fail(LM_EXIT_INPUT,
            "flag tag, button tag, loop tag, bolus, injectable, leg band or tattoo",
            "--new cannot be \"%s\"", form);
    return take_uid(uid, w);
}

static bool is_meant(const struct lm_device *d, const struct wanted *w)
{
    char fold[LM_VISUAL_MAX + 1];
    if (d->gone)
        return false;
    if (w->eid.known != LM_EID_NONE && lm_eid_key(d->eid) != lm_eid_key(w->eid))
        return false;
    lm_visual_fold(d->visual, fold);
    return w->fold[0] == '\0' || strcmp(fold, w->fold) == 0;
}

/* The one worn device that is meant, or NULL after saying which ones there are. */
static struct lm_device *choose(struct lm_record *rec, const struct wanted *w, int *exit)
{
    struct lm_device *one = NULL;
    char words[512], all[400] = "";
    unsigned n = 0;
    for (unsigned i = 0; i < rec->n_devices; i++) {
        if (!is_meant(&rec->devices[i], w))
            continue;
        one = &rec->devices[i];
        size_t len = strlen(all);
        snprintf(all + len, sizeof all - len, "%s%s", n++ > 0 ? "; " : "",
            lm_device_words(one, words, sizeof words));
    }
    if (n == 1)
        return one;
    if (n == 0)
        *exit = lm_fail(LM_EXIT_INPUT, "look with lugmark show; a new device needs --new FORM",
            "animal %s wears no such device", rec->key);
    else
        *exit = lm_fail(LM_EXIT_INPUT, "name it with --visual or --eid; a new one needs --new FORM",
            "animal %s wears %u devices: %s", rec->key, n, all);
    return NULL;
}

static struct lm_device *add_new(struct lm_record *rec, const struct wanted *w, int *exit)
{
    if (rec->n_devices == LM_DEVICES_MAX) {
        *exit = lm_fail(
            LM_EXIT_INPUT, NULL, "animal %s has %u devices already", rec->key, LM_DEVICES_MAX);
        return NULL;
    }
    struct lm_device *d = &rec->devices[rec->n_devices++];
    memset(d, 0, sizeof *d);
    d->form = (uint8_t) w->form;
    d->applied = lm_today();
    return d;
}

static int say(const struct lm_args *args, const struct lm_record *rec, const struct lm_device *d)
{
    char words[512];
    if (!lm_arg_given(args, "json")) {
        printf(_("%s wears %s\n"), rec->key, lm_device_words(d, words, sizeof words));
        return LM_EXIT_OK;
    }
    char *text = lm_record_json(rec);
    if (text != NULL)
        puts(text);
    free(text);
    return text != NULL ? LM_EXIT_OK : LM_EXIT_FAILED;
}

/* Read and written in one transaction, so that nobody's change in between is lost. */
static int bind_chip(const struct lm_args *args, const struct wanted *w, struct lm_store *store,
    struct lm_record *rec)
{
    const char *why = lm_arg(args, "why");
    int exit = lm_db_animal(store, args->rest[0], rec);
    if (exit != LM_EXIT_OK)
        return exit;
    struct lm_device *d = w->is_new ? add_new(rec, w, &exit) : choose(rec, w, &exit);
    if (d == NULL)
        return exit;
    if (d->uid[0] != '\0' && strcmp(d->uid, w->uid) != 0)
        return lm_fail(LM_EXIT_INPUT, "a chip is not changed: give the new device with --new FORM",
            "this device of animal %s has the chip %s already", rec->key, d->uid);
    snprintf(d->uid, sizeof d->uid, "%s", w->uid);
    if (lm_store_put(store, rec, lm_now_ms(), why != NULL ? why : "", NULL) != LM_OK ||
        lm_store_commit(store) != LM_OK)
        return lm_db_fail(store);
    return say(args, rec, d);
}

int lm_tag_chip(const struct lm_args *args)
{
    struct lm_store *store = NULL;
    struct wanted w = {.is_new = false};
    int exit = take(args, &w);
    if (exit == LM_EXIT_OK)
        exit = lm_db_open(args, LM_STORE_WRITE, &store);
    if (exit != LM_EXIT_OK)
        return exit;
    struct lm_record *rec = calloc(1, sizeof *rec);
    if (rec == NULL)
        exit = lm_fail(LM_EXIT_FAILED, NULL, "out of memory");
    else if (lm_store_begin(store) != LM_OK)
        exit = lm_db_fail(store);
    else
        exit = bind_chip(args, &w, store, rec);
    lm_store_rollback(store); /* after a commit there is nothing left to take back */
    free(rec);
    lm_store_close(store);
    return exit;
}
