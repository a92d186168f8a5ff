/** @file words.c
 * The words for animals and devices, as files write them and as people do.
 */
#include "lugmark/record.h"

struct word {
    const char *word;
    int value;
};

/* The first word of a value is how it is written in files; the others are taken too. */
static const struct word sexes[] = {
    {"", LM_SEX_UNKNOWN},
    {"unknown", LM_SEX_UNKNOWN},
    {"?", LM_SEX_UNKNOWN},
    {"female", LM_SEX_FEMALE},
    {"f", LM_SEX_FEMALE},
    {"doe", LM_SEX_FEMALE},
    {"ewe", LM_SEX_FEMALE},
    {"nanny", LM_SEX_FEMALE},
    {"doeling", LM_SEX_FEMALE},
    {"gimmer", LM_SEX_FEMALE},
    {"ewe lamb", LM_SEX_FEMALE},
    {"doe kid", LM_SEX_FEMALE},
    {"nanny kid", LM_SEX_FEMALE},
    {"male", LM_SEX_MALE},
    {"m", LM_SEX_MALE},
    {"buck", LM_SEX_MALE},
    {"ram", LM_SEX_MALE},
    {"billy", LM_SEX_MALE},
    {"tup", LM_SEX_MALE},
    {"buckling", LM_SEX_MALE},
    {"ram lamb", LM_SEX_MALE},
    {"tup lamb", LM_SEX_MALE},
    {"buck kid", LM_SEX_MALE},
    {"billy kid", LM_SEX_MALE},
    {"entire", LM_SEX_MALE},
    {"entire male", LM_SEX_MALE},
};

/* Males whose word says that they are castrated. */
static const char *const castrates[] = {
    "wether", "wedder", "castrated", "castrated male", "castrate", "male castrated"};

static const struct word statuses[] = {
    {"on-farm", LM_ON_FARM},
    {"", LM_ON_FARM},
    {"alive", LM_ON_FARM},
    {"live", LM_ON_FARM},
    {"living", LM_ON_FARM},
    {"present", LM_ON_FARM},
    {"active", LM_ON_FARM},
    {"here", LM_ON_FARM},
    {"home", LM_ON_FARM},
    {"on holding", LM_ON_FARM},
    {"sold", LM_SOLD},
    {"moved off", LM_SOLD},
    {"dead", LM_DEAD},
    {"died", LM_DEAD},
    {"deceased", LM_DEAD},
    {"euthanised", LM_DEAD},
    {"euthanized", LM_DEAD},
    {"put down", LM_DEAD},
    {"fallen", LM_DEAD},
    {"slaughtered", LM_SLAUGHTERED},
    {"slaughter", LM_SLAUGHTERED},
    {"culled", LM_SLAUGHTERED},
    {"cull", LM_SLAUGHTERED},
    {"killed", LM_SLAUGHTERED},
    {"butchered", LM_SLAUGHTERED},
    {"lost", LM_LOST},
    {"missing", LM_LOST},
    {"stolen", LM_LOST},
    {"strayed", LM_LOST},
};

static const struct word forms[] = {
    {"", LM_DEVICE_UNKNOWN},
    {"unknown", LM_DEVICE_UNKNOWN},
    {"flag tag", LM_FLAG_TAG},
    {"flag", LM_FLAG_TAG},
    {"flag ear tag", LM_FLAG_TAG},
    {"button tag", LM_BUTTON_TAG},
    {"button", LM_BUTTON_TAG},
    {"button ear tag", LM_BUTTON_TAG},
    {"loop tag", LM_LOOP_TAG},
    {"loop", LM_LOOP_TAG},
    {"loop ear tag", LM_LOOP_TAG},
    {"bolus", LM_BOLUS},
    {"rumen bolus", LM_BOLUS},
    {"ruminal bolus", LM_BOLUS},
    {"injectable", LM_INJECTABLE},
    {"injectable transponder", LM_INJECTABLE},
    {"injected", LM_INJECTABLE},
    {"implant", LM_INJECTABLE},
    {"microchip", LM_INJECTABLE},
    {"chip", LM_INJECTABLE},
    {"leg band", LM_LEG_BAND},
    {"legband", LM_LEG_BAND},
    {"leg strap", LM_LEG_BAND},
    {"pastern band", LM_LEG_BAND},
    {"pastern", LM_LEG_BAND},
    {"tattoo", LM_TATTOO},
    {"tatoo", LM_TATTOO},
    {"ear tattoo", LM_TATTOO},
};

static const struct word places[] = {
    {"", LM_PLACE_UNKNOWN},
    {"unknown", LM_PLACE_UNKNOWN},
    {"left ear", LM_LEFT_EAR},
    {"left", LM_LEFT_EAR},
    {"l", LM_LEFT_EAR},
    {"ear left", LM_LEFT_EAR},
    {"right ear", LM_RIGHT_EAR},
    {"right", LM_RIGHT_EAR},
    {"r", LM_RIGHT_EAR},
    {"ear right", LM_RIGHT_EAR},
    {"rumen", LM_RUMEN},
    {"reticulum", LM_RUMEN},
    {"stomach", LM_RUMEN},
    {"leg", LM_LEG},
    {"pastern", LM_LEG},
    {"hind leg", LM_LEG},
    {"front leg", LM_LEG},
    {"left leg", LM_LEG},
    {"right leg", LM_LEG},
    {"tail web", LM_TAIL_WEB},
    {"tailweb", LM_TAIL_WEB},
    {"tail", LM_TAIL_WEB},
};

#define COUNT(table) (sizeof(table) / sizeof(table)[0])

static const char *name_of(const struct word *table, size_t n, int value)
{
    for (size_t i = 0; i < n; i++)
        if (table[i].value == value)
            return table[i].word;
    return "";
}

static enum lm_err value_of(const struct word *table, size_t n, const char *word, int *value)
{
    for (size_t i = 0; i < n; i++)
        if (lm_word_is(word, table[i].word)) {
            *value = table[i].value;
            return LM_OK;
        }
    return LM_EFRAME;
}

const char *lm_sex_name(enum lm_sex sex)
{
    return name_of(sexes, COUNT(sexes), (int) sex);
}

const char *lm_status_name(enum lm_status status)
{
    return name_of(statuses, COUNT(statuses), (int) status);
}

const char *lm_device_form_name(enum lm_device_form form)
{
    return name_of(forms, COUNT(forms), (int) form);
}

const char *lm_place_name(enum lm_place place)
{
    return name_of(places, COUNT(places), (int) place);
}

enum lm_err lm_sex_parse(const char *word, enum lm_sex *sex, bool *castrated)
{
    int value = LM_SEX_MALE;
    bool cut = false;
    for (size_t i = 0; i < COUNT(castrates) && !cut; i++)
        cut = lm_word_is(word, castrates[i]);
    enum lm_err err = cut ? LM_OK : value_of(sexes, COUNT(sexes), word, &value);
    if (err != LM_OK)
        return err;
    *sex = (enum lm_sex) value;
    if (castrated != NULL)
        *castrated = cut;
    return LM_OK;
}

enum lm_err lm_status_parse(const char *word, enum lm_status *status)
{
    int value;
    enum lm_err err = value_of(statuses, COUNT(statuses), word, &value);
    if (err == LM_OK)
        *status = (enum lm_status) value;
    return err;
}

enum lm_err lm_device_form_parse(const char *word, enum lm_device_form *form)
{
    int value;
    enum lm_err err = value_of(forms, COUNT(forms), word, &value);
    if (err == LM_OK)
        *form = (enum lm_device_form) value;
    return err;
}

enum lm_err lm_place_parse(const char *word, enum lm_place *place)
{
    int value;
    enum lm_err err = value_of(places, COUNT(places), word, &value);
    if (err == LM_OK)
        *place = (enum lm_place) value;
    return err;
}
