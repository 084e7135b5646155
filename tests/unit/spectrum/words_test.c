#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "spectrum/remarks.h"

static void every_word_is_read_back(void **state)
{
    (void)state;
    enum wp_kind kind;
    enum wp_preparation preparation;
    enum wp_plates plates;
    for (int i = WP_KIND_SAMPLE; i <= WP_KIND_DEMONSTRATION; i++) {
        assert_true(wp_kind_parse(wp_kind_text((enum wp_kind)i), &kind));
        assert_int_equal(kind, i);
    }
    for (int i = WP_PREP_UNKNOWN; i <= WP_PREP_OTHER; i++) {
        assert_true(
            wp_preparation_parse(wp_preparation_text((enum wp_preparation)i), &preparation));
        assert_int_equal(preparation, i);
    }
    for (int i = WP_PLATES_UNKNOWN; i <= WP_PLATES_NONE; i++) {
        assert_true(wp_plates_parse(wp_plates_text((enum wp_plates)i), &plates));
        assert_int_equal(plates, i);
    }
}

static void other_words_are_refused_and_change_nothing(void **state)
{
    (void)state;
    enum wp_kind kind = WP_KIND_BLANK;
    assert_false(wp_kind_parse("samples", &kind));
    assert_false(wp_kind_parse("", &kind));
    assert_int_equal(kind, WP_KIND_BLANK);
    enum wp_plates plates = WP_PLATES_KBR;
    assert_false(wp_plates_parse("glass", &plates));
    assert_true(wp_plates_parse("nacl", &plates));
    assert_int_equal(plates, WP_PLATES_NACL);
    assert_string_equal(wp_kind_text((enum wp_kind)99), "");
}

static void verdicts_have_a_word_and_a_sentence(void **state)
{
    (void)state;
    assert_string_equal(wp_verdict_text(WP_USABLE), "usable");
    assert_string_equal(wp_verdict_text(WP_USABLE_WITH_NOTE), "note");
    assert_string_equal(wp_verdict_text(WP_RUN_AGAIN), "again");
    assert_string_equal(wp_verdict_words(WP_USABLE), "usable");
    assert_string_equal(wp_verdict_words(WP_USABLE_WITH_NOTE), "usable, with a note");
    assert_string_equal(wp_verdict_words(WP_RUN_AGAIN), "better run again");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_word_is_read_back),
        cmocka_unit_test(other_words_are_refused_and_change_nothing),
        cmocka_unit_test(verdicts_have_a_word_and_a_sentence),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
