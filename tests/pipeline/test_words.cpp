// Words of the enumerations that reach files and screens: distinct, so that the way back is one.
#include <set>

#include <catch2/catch.hpp>

#include "server/estimate/math/nis_monitor.hpp"
#include "server/estimate/navigation/navigation.hpp"
#include "server/estimate/phases/phase.hpp"
#include "server/estimate/prediction/landing_case.hpp"
#include "server/pipeline/batch.hpp"
#include "server/pipeline/checklist/procedure.hpp"
#include "shared/link_state.hpp"

using namespace turnstone;
using namespace turnstone::estimate;

namespace {

template <class Enum>
void check_words() {
    std::set<std::string_view> seen;
    for (const std::string_view text : kWords<Enum>) {
        CHECK(!text.empty());
        CHECK(seen.insert(text).second);
        CHECK(word(*from_word<Enum>(text)) == text);
    }
}

} // namespace

TEST_CASE("words of an enumeration are distinct and read back") {
    check_words<LinkState>();
    check_words<Level>();
    check_words<EventKind>();
    check_words<EventId>();
    check_words<TableKind>();
    check_words<FrameVerdict>();
    check_words<DecodeVerdict>();
    check_words<PacketVerdict>();
    check_words<Phase>();
    check_words<Health>();
    check_words<NavigationMode>();
    check_words<LandingCaseKind>();
    check_words<CheckState>();
    check_words<CheckSubject>();
    check_words<Measure>();
    check_words<StepKind>();
    check_words<StepState>();
}

TEST_CASE("a phase has a word for the screen and a key for events") {
    CHECK(word(Phase::falling) == "falling (no parachute)");
    CHECK(phase_key(Phase::falling) == "falling");
    CHECK(phase_key(Phase::presumed_down) == "presumed_down");
}
