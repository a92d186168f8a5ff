/* Shared by the parts of the rules of a sale. */
#ifndef LUGMARK_RACE_RULES_PRIV_H
#define LUGMARK_RACE_RULES_PRIV_H

#include "lugmark/rules.h"

/* One rule asked of one animal. */
struct ask {
    const struct lm_rule_pack *pack;
    const struct lm_rule_animal *animal;
    const struct lm_record *rec; /* the animal's; NULL: the lot is asked about */
    const struct lm_rule_context *ctx;
    char *words; /* LM_RULE_WORDS bytes, or NULL; the first to say something is heard */
};

/* A printed number or a code of an official device that is worn. */
struct mark_text {
    char text[LM_VISUAL_MAX + 1];
    bool electronic;
};

enum { MARKS_A_DEVICE = 2 };

/* Say why, unless something was said already. @return @p answer. */
enum lm_answer lm_ask_say(const struct ask *a, enum lm_answer answer, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));

/* Say why, whatever was said before. */
enum lm_answer lm_ask_say_over(const struct ask *a, enum lm_answer answer, const char *fmt, ...)
    __attribute__((format(printf, 3, 4)));

/* A text in the tongue of who asks; not one from the register. */
const char *lm_ask_text(const struct ask *a, const char *english) __attribute__((format_arg(2)));

/* Marks a text for the catalog that is translated elsewhere. */
#define N_(text) (text)

bool lm_words_have(const struct lm_words *words, const char *word);

/* Whether it is worn and official. */
static inline bool lm_device_counts(const struct lm_device *d)
{
    return d->official && !d->gone;
}

static inline bool lm_device_has_chip(const struct lm_device *d)
{
    return d->eid.known == LM_EID_CODE || d->eid.known == LM_EID_FULL;
}

unsigned lm_official_devices(const struct lm_record *rec);

/* The marks of a device. @return How many, at most MARKS_A_DEVICE. */
unsigned lm_device_marks(const struct lm_device *d, struct mark_text out[MARKS_A_DEVICE]);

/* A device in few words: its number, else its code, else its form. @return @p out. */
const char *lm_device_say(const struct lm_device *d, char out[LM_VISUAL_MAX + 1]);

/* The same in the tongue of who asks. */
const char *lm_ask_device(
    const struct ask *a, const struct lm_device *d, char out[LM_VISUAL_MAX + 1]);

/* The code of a device as 15 digits: of its chip, else of its number. @return Whether there is. */
bool lm_device_code(const struct ask *a, const struct lm_device *d, char out[16]);

/* Parts of what a rule may need. */
enum lm_answer lm_need_devices(const struct ask *a, const struct lm_need *need);
enum lm_answer lm_need_history(const struct ask *a, const struct lm_need *need);
enum lm_answer lm_need_numbers(const struct ask *a, const struct lm_need *need);
enum lm_answer lm_need_other(const struct ask *a, const struct lm_need *need);

#endif
