#include <catch2/catch.hpp>

#include "server/ingest/backlog_watch.hpp"
#include "shared/time.hpp"

using namespace turnstone;

TEST_CASE("estimates are behind once they have been for a second, and keep up once they have for five") {
    struct Look {
        double at_s, behind_s;
        std::optional<double> reported_s;
    };
    struct Case {
        const char* what;
        std::vector<Look> looks;
    };
    for (const Case& c :
         {Case{"a moment is not enough", {{0, 3, {}}, {0.9, 3, {}}, {1.0, 0, {}}, {1.5, 3, {}}, {2.4, 3, {}}}},
          Case{"a second is", {{0, 0.6, {}}, {1.0, 2.5, 2.5}, {1.1, 3, {}}, {9, 3, {}}}},
          Case{"a short rest does not end it",
               {{0, 1, {}}, {1, 1, 1.0}, {2, 0, {}}, {6.9, 0, {}}, {6.95, 0.3, {}}, {7, 0, {}}, {12, 0, 0.0}}},
          Case{"what is a little late is not behind", {{0, 0.4, {}}, {10, 0.4, {}}}}}) {
        INFO(c.what);
        BacklogWatch watch;
        for (const Look& look : c.looks) {
            INFO("at " << look.at_s << " s");
            const auto report = watch.look(look.behind_s, seconds_to_ns(look.at_s));
            CHECK(report.has_value() == look.reported_s.has_value());
            if (report && look.reported_s) CHECK(report->behind_s == *look.reported_s);
        }
    }
}
