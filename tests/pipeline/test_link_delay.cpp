// What a link takes at least is in no mapped time: the line by its baud rate, the radios by what the operator declared.
#include <catch2/catch.hpp>

#include <cmath>
#include <random>

#include "server/pipeline/link_delay.hpp"
#include "tests/pipeline/station.hpp"

using namespace turnstone;
using namespace turnstone::test;

TEST_CASE("a link's least delay is read from its URI") {
    struct Case {
        const char* uri;
        double byte_s, latency_s, bound_s;
    };
    for (const Case& c : {Case{"serial:/dev/ttyUSB0?baud=57600", 10 / 57600.0, 0, 0.05},
                          {"serial:/dev/ttyUSB0", 10 / 57600.0, 0, 0.05},
                          {"serial:/dev/ttyUSB0?baud=9600&parity=even&stop=2", 12 / 9600.0, 0, 0.05},
                          {"serial:/dev/ttyUSB0?baud=9600&latency_ms=30", 10 / 9600.0, 0.03, 0.0095},
                          {"udp://0.0.0.0:9000", 0, 0, 0.05},
                          {"udp://0.0.0.0:9000?latency_ms=0", 0, 0, 0.002},
                          {"file:capture.bin?pace=19200", 10 / 19200.0, 0, 0.05},
                          {"file:capture.bin", 0, 0, 0.05},
                          {"broker:hill/radio?name=hill", 0, 0, 0.38},
                          {"test:", 0, 0, 0.05},
                          {"", 0, 0, 0.05}}) {
        INFO(c.uri);
        const LinkDelay delay = link_delay(c.uri);
        CHECK(delay.byte_s == Approx(c.byte_s));
        CHECK(delay.latency_s == Approx(c.latency_s));
        CHECK(delay.bound_s == Approx(c.bound_s));
        CHECK(delay.of_frame_ns(100) == Approx((100 * c.byte_s + c.latency_s) * 1e9));
    }
}

TEST_CASE("rows are of the time at which they were made, within the stated bound, however slow the line") {
    struct Case {
        const char* uri;
        double baud, radio_s;
    };
    for (const Case& c : {Case{"serial:/dev/ttyUSB0?baud=9600&latency_ms=0", 9600, 0},
                          {"serial:/dev/ttyUSB0?baud=57600&latency_ms=30", 57600, 0.032},
                          {"serial:/dev/ttyUSB0?baud=57600", 57600, 0.031},
                          {"udp://0.0.0.0:9000", 1e9, 0.04}}) {
        const PipelineSetup setup = make_setup(1, {{"radio", c.uri, 0}});
        Pipeline pipeline(setup, kStart_ns);
        Batch out;
        std::mt19937 random(4);
        for (unsigned k = 0; k < 600; ++k) {
            const std::int64_t made_ns = kStart_ns + (40 + 50 * static_cast<std::int64_t>(k)) * kNsPerMs;
            const Bytes bytes = frame(100, k, 1000 + 50 * k, user_data(Kind::step, k));
            const double waits_s = std::exponential_distribution<>(100)(random); // 10 ms in the mean
            const double line_s = 10.0 * static_cast<double>(bytes.size()) / c.baud;
            pipeline.chunk(0, made_ns + std::llround((line_s + c.radio_s + waits_s) * 1e9), 0, bytes, out);
        }
        pipeline.advance(kStart_ns + 31 * kNsPerS, out);
        const Schema& schema = pipeline.schema();
        double bound_s = 0, worst_s = 0;
        std::int64_t made_ns = kStart_ns + 40 * kNsPerMs;
        for (const RowRecord& row : out.rows) {
            const Table& table = schema.tables[row.table];
            if (table.name == "alpha/step") {
                if (made_ns > kStart_ns + 10 * kNsPerS)
                    worst_s = std::max(worst_s, std::abs(static_cast<double>(row.t_ns - made_ns)) * 1e-9);
                made_ns += 50 * kNsPerMs;
            }
            if (table.name != "alpha/estimate/clock") continue;
            for (std::size_t k = 0; k < table.number_count; ++k)
                if (table.columns[k].name == "onboard_zero_bound_s") bound_s = out.numbers_of(row, table)[k];
        }
        INFO(c.uri << ": off by up to " << worst_s << " s, bound " << bound_s << " s");
        CHECK(worst_s < bound_s + 0.001); // times on board are whole milliseconds
        if (c.radio_s == 0) CHECK(worst_s < 0.005);
    }
}
