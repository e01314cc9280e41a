#include "server/serve/http/exchange/exchange_routes.hpp"

#include <memory>
#include <utility>

#include <nlohmann/json.hpp>

#include "server/exchange/import/import_job.hpp"
#include "server/exchange/import/uploads.hpp"
#include "server/serve/http/exchange/export_answer.hpp"
#include "server/serve/http/on_worker.hpp"
#include "server/serve/http/refusals.hpp"
#include "server/serve/random_key.hpp"

namespace turnstone {

namespace {

using boost::asio::awaitable;
using nlohmann::json;

/// What a piece of an upload says of itself.
struct Piece {
    std::string upload; ///< empty: the first
    std::uint64_t at = 0;
    std::string flight; ///< with the last one
};

Result<Piece> read_piece(const Target& target) {
    if (auto allowed = allow_parameters(target, {"upload", "at", "flight"}); !allowed)
        return tl::unexpected(allowed.error());
    const auto at = integer_parameter(target, "at", 0, static_cast<std::int64_t>(exchange::kUploadBytesMax));
    if (!at) return tl::unexpected(at.error());
    Piece piece{text_parameter(target, "upload").value_or(""), static_cast<std::uint64_t>(at->value_or(0)),
                text_parameter(target, "flight").value_or("")};
    if (piece.upload.empty() != (piece.at == 0))
        return fail(
            "the first piece begins at 0 and has no 'upload'; the others have the key that it was answered with");
    return piece;
}

Answer add_piece(const debrief::Recordings& recordings, const Downloads& downloads, Piece piece,
                 const std::string& body) {
    if (const auto room = downloads.has_room(body.size()); !room) return error_answer(503, room.error().message);
    if (piece.upload.empty()) {
        if (const auto room = exchange::make_room_for_upload(recordings.folder); !room)
            return busy_answer(room.error().message);
        piece.upload = random_key();
    }
    const auto file = exchange::upload_file(recordings.folder, piece.upload);
    if (!file) return error_answer(400, file.error().message);
    const auto bytes = exchange::add_to_upload(*file, piece.at, body);
    if (!bytes) return error_answer(409, bytes.error().message);
    json answer = {{"upload", piece.upload}, {"bytes", *bytes}};
    if (!piece.flight.empty()) {
        const auto look = exchange::look_at_upload(recordings, *file, piece.flight);
        if (!look) return error_answer(404, look.error().message);
        answer.update(*look);
    }
    return json_answer(answer);
}

} // namespace

awaitable<Answer> ExchangeRoutes::export_flight(const Request& request) {
    if (request.method != Method::get) co_return method_answer("GET");
    auto place_taken = budgets_.take(Budget::downloads, request.client);
    if (!place_taken) co_return busy_answer(place_taken.error().message);
    auto copying = budgets_.take(Budget::disk_copies, request.client);
    if (!copying) co_return busy_answer(copying.error().message);
    const auto slots = std::make_shared<std::pair<Lease, Lease>>(std::move(*place_taken), std::move(*copying));
    const WorkerTask task = [this, target = request.target, slots](ReaderCache&) {
        return export_answer(recordings_, downloads_, target.segments[2], target,
                             std::shared_ptr<Lease>(slots, &slots->second));
    };
    co_return co_await on_worker(workers_, Lane::slow, request.client, task);
}

awaitable<Answer> ExchangeRoutes::upload(const Request& request) {
    if (request.method != Method::post) co_return method_answer("POST");
    if (!request.client.is_operator) co_return needs_operator();
    if (request.content_type != "application/octet-stream")
        co_return error_answer(415, "send the log's octets as 'Content-Type: application/octet-stream'");
    auto piece = read_piece(request.target);
    if (!piece) co_return error_answer(400, piece.error().message);
    const WorkerTask task = [this, piece = std::move(*piece), body = request.body](ReaderCache&) {
        return add_piece(recordings_, downloads_, piece, body);
    };
    co_return co_await on_worker(workers_, Lane::slow, request.client, task);
}

} // namespace turnstone
