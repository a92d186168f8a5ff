/** @file bundle.h
 * A register taken along on another machine, and brought back.
 *
 * A bundle is text, one JSON object a line (NDJSON, UTF-8):
 *   {"schema":"lugmark.bundle/1","register":R,"copy":C,"tables":N,"version":"0.1.0"}
 *   {"setting":"holding","value":"Example holding"}
 *   {"stock":{"strip":"S1","position":1,"eid":"999000000000001","visual":"0001",...}}
 *   {"is":"C:12","of":"C:10","part":"C:11","undoes":"C:9","why":"...","event":{...}}
 *   {"end":true,"settings":N,"stock":N,"events":N,"sum":"16 hex digits"}
 * R is the identity of the register, the same in all its copies; C that of the copy that wrote the
 * bundle. `is` names an event for ever: the copy where it was made and its place there. `of` is the
 * opening of its session, `part` the first event of the change it belongs to, `undoes` the one it
 * takes back. `event` is as in eventline.h; that of an animal carries its whole entry as the change
 * left it, so the animals and sessions need no lines of their own. Events stand in the order of the
 * copy's journal. `sum` is FNV-1a, 64 bits, over all bytes before the last line: it finds damage,
 * it is no seal. Unknown keys are ignored, unknown lines are not.
 *
 * Uniting: events not known here are appended in their order, each as itself. An animal that was
 * changed on one side only is from then on as that side left it. Changed on both sides to different
 * ends, it is a clash and the caller decides; so is one code worn by two animals, and two open
 * sessions. What was decided against stays in the history, and devices of the losing side stay
 * there as removed. The same bundle a second time changes nothing. Findings of a session brought
 * back are folded over the register as it is where it lies in this journal.
 */
#ifndef LUGMARK_BUNDLE_H
#define LUGMARK_BUNDLE_H

#include "lugmark/store.h"

#define LM_BUNDLE_SCHEMA "lugmark.bundle/1"

/** Write the whole register. @return LM_OK; LM_EIO when @p out refuses; what the register gives. */
enum lm_err lm_bundle_write(struct lm_store *store, FILE *out);

enum lm_clash_kind {
    LM_CLASH_ANIMAL, /**< changed on both sides: `ours` and `theirs` are its entries */
    LM_CLASH_CODE,   /**< `code` is worn by `other` here and by `animal` there */
    LM_CLASH_SESSION /**< a session is open on both sides; the one not kept is closed */
};

/** What contradicts. Borrowed for the call. */
struct lm_clash {
    enum lm_clash_kind kind;
    const char *animal;                    /**< key; "" for a session */
    const char *other;                     /**< key of the wearer here, for a code */
    const char *code;                      /**< 15 digits, for a code */
    const struct lm_record *ours, *theirs; /**< for an animal, else NULL */
};

enum lm_keep { LM_KEEP_NONE, LM_KEEP_OURS, LM_KEEP_THEIRS };

/** What came of it. */
struct lm_united {
    uint32_t events, animals, sessions; /**< taken over */
    uint32_t stock, clashes;            /**< in stock, taken over; contradictions */
    uint32_t settings;                  /**< that differ; ours are kept */
};

struct lm_bundle_hooks {
    /** Decide a clash. LM_KEEP_NONE: not decided; the others are asked still, nothing is changed.
     */
    enum lm_keep (*keep)(const struct lm_clash *clash, void *ctx);
    void *ctx;
};

/**
 * Unite a bundle with the register, all or nothing. A register without any animal, event and stock
 * becomes a copy of the bundle's register.
 * @param[in]  name  Of the file, for messages.
 * @param[in]  t_ms  Now, for events that uniting makes.
 * @param[out] out   May be NULL.
 * @param[out] p     What is wrong with the bundle, with its line; may be NULL.
 * @return LM_OK; LM_EAMBIGUOUS: a clash was not decided; LM_EINPUT: damaged, cut off, of another
 *         register, or it contradicts in a way that cannot be decided; LM_ENEWER; LM_EIO, LM_EFULL,
 *         LM_EBUSY, LM_ENOMEM.
 */
enum lm_err lm_bundle_unite(struct lm_store *store, FILE *in, const char *name, int64_t t_ms,
    const struct lm_bundle_hooks *hooks, struct lm_united *out, struct lm_problem *p);

#endif
