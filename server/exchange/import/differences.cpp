#include "server/exchange/import/differences.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <optional>

#include <nlohmann/json.hpp>

#include "shared/time.hpp"

namespace turnstone::exchange {

namespace {

using nlohmann::json;

constexpr std::size_t kNamed = 100;
/// A value is taken between two of the log's that are at most so far apart.
constexpr std::int64_t kBetween_ns = 500'000'000;

struct Found {
    const Table* table;
    std::size_t column;
};
std::optional<Found> find_column(const Schema& schema, const std::string& table, const std::string& column) {
    for (const Table& each : schema.tables)
        for (std::size_t c = 0; each.name == table && c < each.number_count; ++c)
            if (each.columns[c].name == column) return Found{&each, c};
    return std::nullopt;
}

/// Mean and spread in one pass (B. P. Welford, Technometrics 4, 1962, 419-420).
class Running {
  public:
    void add(double value, std::int64_t t_ns, ChannelDifference& out) {
        ++out.count;
        const double step = value - out.mean;
        out.mean += step / static_cast<double>(out.count);
        squares_ += step * (value - out.mean);
        out.sd = out.count > 1 ? std::sqrt(squares_ / static_cast<double>(out.count - 1)) : 0;
        if (std::abs(value) <= std::abs(out.worst) && out.count > 1) return;
        out.worst = value;
        out.worst_ns = t_ns;
    }

  private:
    double squares_ = 0;
};

struct Sample {
    std::int64_t t_ns;
    double value;
};

/// False: stopped.
bool compare(RowStream& rows, ChannelDifference& out, std::int64_t from_ns, std::int64_t to_ns, double part,
             double parts, const debrief::Advance& advance) {
    constexpr std::size_t kRows = 1024;
    Running running;
    std::optional<Sample> before;
    std::vector<Sample> waiting; // of the radio, for the log's next
    rows.start(from_ns, to_ns);
    for (std::size_t count = 0; rows.next(); ++count) {
        const StreamedRow& row = rows.row();
        const double length = static_cast<double>(std::max<std::int64_t>(to_ns - from_ns, 1));
        if (count % kRows == 0 && !advance((part + static_cast<double>(row.t_ns - from_ns) / length) / parts))
            return false;
        if (std::isnan(row.numbers[0])) continue;
        const Sample now{row.t_ns, row.numbers[0]};
        if (row.choice == 0) {
            waiting.push_back(now);
            continue;
        }
        if (before && now.t_ns - before->t_ns <= kBetween_ns)
            for (const Sample& heard : waiting) {
                const double fraction = now.t_ns == before->t_ns ? 1.0
                                                                 : static_cast<double>(heard.t_ns - before->t_ns) /
                                                                       static_cast<double>(now.t_ns - before->t_ns);
                if (fraction >= 0)
                    running.add(before->value + fraction * (now.value - before->value) - heard.value, heard.t_ns, out);
            }
        waiting.clear();
        before = now;
    }
    return true;
}

} // namespace

std::vector<Gap> find_gaps(const std::vector<std::int64_t>& log_ns, const std::vector<std::int64_t>& heard_ns) {
    std::vector<Gap> gaps;
    if (log_ns.empty()) return gaps;
    const auto between = [&](std::int64_t from_ns, std::int64_t to_ns) {
        if (to_ns - from_ns < kGapLeast_ns) return;
        const auto first = std::ranges::upper_bound(log_ns, from_ns), last = std::ranges::lower_bound(log_ns, to_ns);
        if (first < last)
            gaps.push_back({std::max(from_ns, log_ns.front()), to_ns, static_cast<std::size_t>(last - first)});
    };
    std::int64_t before_ns = log_ns.front() - 1;
    for (const std::int64_t heard : heard_ns) {
        if (heard > before_ns) between(before_ns, heard);
        before_ns = std::max(before_ns, heard);
    }
    between(before_ns, log_ns.back() + 1);
    return gaps;
}

PacketComparison compare_packets(const LogIndex& log, const LogTimes& times, const RadioRecord& radio) {
    PacketComparison out;
    std::vector<bool> in_log(radio.packets.size());
    for (std::size_t i = 0; i < log.packets.size(); ++i) {
        const LogPacket& packet = log.packets[i];
        if (packet.id == 0) continue;
        const auto heard = radio.with_id(packet.id);
        const auto same = std::ranges::find(heard, packet.content, &RadioPacket::content);
        if (heard.empty()) {
            ++out.log_only;
            continue;
        }
        const auto& counterpart = same == heard.end() ? heard.front() : *same;
        in_log[static_cast<std::size_t>(&counterpart - radio.packets.data())] = true;
        if (same != heard.end()) {
            ++out.both;
            continue;
        }
        ++out.differing;
        if (out.first.size() < kNamed)
            out.first.push_back({times.t_ns[i], counterpart.apid, counterpart.sequence_count});
    }
    // A packet of the radio's that came with two contents is one.
    for (std::size_t i = 0; i < radio.packets.size(); ++i) {
        const auto alike = radio.with_id(radio.packets[i].id);
        const auto first = static_cast<std::size_t>(alike.data() - radio.packets.data());
        if (i != first) continue;
        bool any = false;
        for (std::size_t k = first; k < first + alike.size(); ++k) any = any || in_log[k];
        if (!any) ++out.radio_only;
    }
    return out;
}

Result<std::vector<ChannelDifference>> compare_channels(RecordingReader& merged, const std::vector<ChannelPair>& pairs,
                                                        const debrief::Advance& advance) {
    const RecordingInfo info = merged.info();
    std::vector<ChannelDifference> out;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
        const auto radio = find_column(merged.schema(), pairs[i].radio_table, pairs[i].radio_column);
        const auto log = find_column(merged.schema(), pairs[i].log_table, pairs[i].log_column);
        if (!radio || !log) continue;
        out.push_back(
            {pairs[i], radio->table->columns[radio->column].title, radio->table->columns[radio->column].unit});
        RowStream rows = merged.stream({{radio->table->id, {radio->column}}, {log->table->id, {log->column}}});
        if (!compare(rows, out.back(), info.t_start_ns, info.t_end_ns + 1, static_cast<double>(i),
                     static_cast<double>(pairs.size()), advance))
            return debrief::stopped();
    }
    if (!merged.damage().empty()) return fail("the merged recording cannot be read: " + merged.damage());
    return out;
}

json differences_json(const PacketComparison& packets, const std::vector<Gap>& gaps,
                      const std::vector<ChannelDifference>& channels, std::int64_t t_start_ns) {
    json out = {{"packets",
                 {{"both", packets.both},
                  {"radio_only", packets.radio_only},
                  {"log_only", packets.log_only},
                  {"differing", packets.differing},
                  {"first_differing", json::array()}}},
                {"gaps", json::array()},
                {"channels", json::array()}};
    for (const PacketDifference& each : packets.first)
        out["packets"]["first_differing"].push_back({{"t_s", seconds_between(t_start_ns, each.t_ns)},
                                                     {"apid", each.apid},
                                                     {"sequence_count", each.sequence_count}});
    for (const Gap& gap : gaps)
        out["gaps"].push_back({{"from_s", seconds_between(t_start_ns, gap.from_ns)},
                               {"to_s", seconds_between(t_start_ns, gap.to_ns)},
                               {"packets", gap.packets}});
    for (const ChannelDifference& each : channels)
        out["channels"].push_back(
            {{"channel", each.of.radio_table + "." + each.of.radio_column},
             {"against", each.of.log_table + "." + each.of.log_column},
             {"title", each.title},
             {"unit", each.unit},
             {"n", each.count},
             {"mean", each.count > 0 ? json(each.mean) : json(nullptr)},
             {"sd", each.count > 1 ? json(each.sd) : json(nullptr)},
             {"worst", each.count > 0 ? json(each.worst) : json(nullptr)},
             {"at_s", each.count > 0 ? json(seconds_between(t_start_ns, each.worst_ns)) : json(nullptr)}});
    return out;
}

} // namespace turnstone::exchange
