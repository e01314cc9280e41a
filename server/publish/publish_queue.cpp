#include "server/publish/publish_queue.hpp"

#include <algorithm>
#include <map>
#include <random>
#include <utility>

#include "protocol/broker/piece.hpp"
#include "server/record/format/layout.hpp"
#include "shared/time.hpp"
#include "shared/uri.hpp"

namespace turnstone {

namespace {

constexpr std::uint64_t kInputsAtOnce = 500;
constexpr std::int64_t kLookPeriodNs = kNsPerS;
/// A recording that nobody could close any more, behind which another has begun.
constexpr std::int64_t kGivenUpAfterNs = 30 * kNsPerS;

std::filesystem::path state_file(const std::filesystem::path& folder) {
    return folder / "publishing.json";
}

} // namespace

std::uint64_t drawn_number() {
    std::random_device device;
    return std::uint64_t{device()} << 32 | device();
}

PublishQueue::PublishQueue(std::filesystem::path recordings, std::uint64_t clock, PublishLimits limits)
    : folder_(std::move(recordings)), clock_(clock), limits_(limits), saved_(read_publish_state(state_file(folder_))) {
    at_.stream = drawn_number();
    if (!saved_) return;
    recordings_.assign(saved_->recordings.begin(), saved_->recordings.end());
    static_cast<PublishPlace&>(at_) = saved_->place;
}

void PublishQueue::begins(const std::string& id) {
    if (recordings_.empty() || recordings_.back() != id) recordings_.push_back(id);
}

const PublishQueue::Place& PublishQueue::first_open() const noexcept {
    const auto open = std::ranges::find(sent_, false, &Sent::acknowledged);
    return open != sent_.end() ? open->before : at_;
}

void PublishQueue::go_to_next_recording() {
    reader_.reset();
    ++at_.recording;
    at_.next_input = 0;
    at_.t_last_ns = 0;
}

bool PublishQueue::open() {
    if (reader_) return true;
    const std::string& id = recordings_[static_cast<std::size_t>(at_.recording - first_number_)];
    auto opened = RecordingReader::open(folder_ / (id + std::string(kRecordingEnding)));
    if (!opened) return false;
    reader_.emplace(std::move(*opened));
    link_names_.clear();
    own_links_.clear();
    for (const LinkSetup& link : reader_->description().links) {
        link_names_.push_back(link.name);
        if (uri_scheme(link.uri) != "broker") own_links_.insert(link.name);
    }
    find_place_again();
    return true;
}

void PublishQueue::find_place_again() {
    if (at_.next_input == 0) return;
    const auto t_of = [](const Inputs& inputs) {
        return inputs.chunks.empty() ? inputs.actions.front().t_ns : inputs.chunks.front().t_rx_ns;
    };
    const Inputs last = reader_->inputs_of(at_.next_input - 1, 1);
    if (!last.empty() && t_of(last) == at_.t_last_ns) return;
    at_.stream = drawn_number();
    at_.offsets.clear();
    std::uint64_t newer = reader_->info().inputs;
    for (std::uint64_t from = 0; from < newer; from += kInputsAtOnce) {
        const Inputs inputs = reader_->inputs_of(from, kInputsAtOnce);
        for_each_input(
            inputs,
            [&](const ChunkRecord& chunk, std::span<const std::byte>) {
                if (chunk.t_rx_ns > at_.t_last_ns) newer = std::min(newer, chunk.input);
            },
            [&](const ActionRecord& action) {
                if (action.t_ns > at_.t_last_ns) newer = std::min(newer, action.input);
            });
    }
    at_.next_input = newer;
}

Inputs PublishQueue::waiting_inputs(std::int64_t now_ns, bool is_last_look) {
    Inputs inputs = reader_->inputs_of(at_.next_input, kInputsAtOnce);
    if (!inputs.empty()) t_came_ns_ = now_ns;
    if (!inputs.empty() || (!is_last_look && now_ns - t_looked_ns_ < kLookPeriodNs)) return inputs;
    t_looked_ns_ = now_ns;
    // Inputs that the recorder had to drop have left a hole in the numbers. Nothing can come below an end that was
    // asked for before they are read: what is committed in between did not leave one.
    const std::uint64_t end = reader_->info().inputs;
    inputs = reader_->inputs_of(at_.next_input, kInputsAtOnce);
    while (inputs.empty() && at_.next_input < end) {
        at_.next_input = std::min(at_.next_input + kInputsAtOnce, end);
        inputs = reader_->inputs_of(at_.next_input, kInputsAtOnce);
    }
    return inputs;
}

std::vector<PublishQueue::Message> PublishQueue::messages_of(const Inputs& inputs, std::int64_t now_ns) {
    std::map<std::string, Piece> pieces;
    std::size_t bytes_taken = 0;
    bool full = false;
    for_each_input(
        inputs,
        [&](const ChunkRecord& chunk, std::span<const std::byte> bytes) {
            full = full || (bytes_taken > 0 && bytes_taken + bytes.size() > limits_.parcel_bytes);
            if (full) return;
            at_.next_input = chunk.input + 1;
            at_.t_last_ns = chunk.t_rx_ns;
            const std::string& link = chunk.link < link_names_.size() ? link_names_[chunk.link] : "";
            if (chunk.carried || bytes.empty() || !own_links_.contains(link)) return;
            std::uint64_t& offset = at_.offsets[link];
            if (now_ns - chunk.t_rx_ns > limits_.wait_most_ns) {
                bytes_left_out_ += bytes.size();
            } else {
                auto [piece, is_new] = pieces.try_emplace(link, Piece{{at_.stream, clock_, offset, now_ns}, {}});
                piece->second.chunks.push_back({chunk.t_rx_ns, bytes});
                bytes_taken += bytes.size();
            }
            offset += bytes.size();
        },
        [&](const ActionRecord& action) {
            if (full) return;
            at_.next_input = action.input + 1;
            at_.t_last_ns = action.t_ns;
        });
    std::vector<Message> messages;
    for (const auto& [link, piece] : pieces) messages.push_back({link, write_piece(piece)});
    return messages;
}

std::optional<PublishQueue::Parcel> PublishQueue::next(std::int64_t now_ns) {
    forget_sent(now_ns);
    while (!recordings_.empty()) {
        if (!open()) {
            if (is_newest()) return std::nullopt; // its file is still to be made
            ++recordings_gone_;
            go_to_next_recording();
            continue;
        }
        const Place before = at_;
        // The last of it may still be on its way to the disk, until it is closed; asked before the inputs are.
        const bool is_whole = !is_newest() && (reader_->info().closed || now_ns - t_came_ns_ >= kGivenUpAfterNs);
        const Inputs inputs = waiting_inputs(now_ns, is_whole);
        if (inputs.empty()) {
            if (!is_whole) return std::nullopt;
            go_to_next_recording();
            continue;
        }
        std::vector<Message> messages = messages_of(inputs, now_ns);
        if (messages.empty()) continue;
        sent_.push_back({.number = ++parcels_, .before = before, .t_sent_ns = now_ns});
        return Parcel{parcels_, std::move(messages)};
    }
    return std::nullopt;
}

void PublishQueue::acknowledged(std::uint64_t parcel) {
    const auto found = std::ranges::find(sent_, parcel, &Sent::number);
    if (found != sent_.end()) found->acknowledged = true;
}

void PublishQueue::forget_sent(std::int64_t now_ns) {
    while (!sent_.empty() && sent_.front().acknowledged && now_ns - sent_.front().t_sent_ns > limits_.again_ns)
        sent_.pop_front();
    const std::uint64_t needed = sent_.empty() ? at_.recording : sent_.front().before.recording;
    for (; first_number_ < needed; ++first_number_) recordings_.pop_front();
}

void PublishQueue::send_again(std::int64_t now_ns) {
    forget_sent(now_ns);
    if (sent_.empty()) return;
    if (at_.recording != sent_.front().before.recording) reader_.reset();
    at_ = sent_.front().before;
    sent_.clear();
}

Result<void> PublishQueue::save() {
    // A station that is started again sends as much again as one that was not.
    const Place& place = sent_.empty() ? at_ : sent_.front().before;
    PublishState state{.recordings = {}, .place = static_cast<const PublishPlace&>(place)};
    const auto done = static_cast<std::ptrdiff_t>(place.recording - first_number_);
    state.recordings.assign(recordings_.begin() + std::min(done, std::ssize(recordings_)), recordings_.end());
    if (saved_ == state) return {};
    auto written = write_publish_state(state_file(folder_), state);
    if (written) saved_ = std::move(state);
    return written;
}

} // namespace turnstone
